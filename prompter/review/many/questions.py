"""The questions to many journals, each one table expression, written once for every engine of Ibis.

`journals` and `events` are tables as `rows.py` lays them out. Times of answers are in seconds. Nothing
here may depend on an engine: a test runs all of it on two and compares.
"""

import ibis
from ibis import _
from ibis.expr.types import NumericColumn, Table, Value

HOMES_FOR_WORDS = 2
"""A prompt's words are shown if so many homes heard them: words of one home may tell whose it is."""


def chosen(journals: Table, rehearsals: bool) -> Table:
    """The emergencies, or the rehearsals; each journal once, by the copy that tells most."""
    longest = ibis.window(group_by="id", order_by=[ibis.desc("end_ms"), "journal"])
    journals = journals.mutate(copy=ibis.row_number().over(longest))
    return journals.filter(journals.copy == 0, journals.rehearsal == rehearsals).drop("copy")


def incidents(journals: Table, events: Table) -> Table:
    """One row an incident: the times that `prompter review` tells of one, and what was in doubt.

    Seconds since it began, null where it did not happen. A journal without beats counts the first pace.
    """
    e = events
    breaths = e.what == "breaths"
    per = e.group_by("journal").agg(
        beat_ms=e.t_ms.min(where=(e.kind == "beat") & breaths),
        beats=(e.kind == "beat").sum(),
        pace_ms=e.t_ms.min(where=(e.kind == "pace") & breaths),
        call_ms=e.t_ms.min(where=_called(e)),
        speaker_ms=e.t_ms.min(where=_call_moved(e, "on speaker")),
        out_ms=e.t_ms.min(where=_learned(e, "tube", "out")),
        lowest_spo2=e.number.min(
            where=(e.kind == "numbered") & (e.what == "spo2") & e.believed & e.number.between(30, 100)
        ),
        asked_again=(e.kind == "unclear").sum(),
        assumed=((e.kind == "moved") & (e.how == "assumed")).sum(),
        taken_back=((e.kind == "answered") & (e.answer == "wrong")).sum(),
        stops=(e.kind == "resumed").sum(),
        faults=(e.kind == "failed").sum(),
    )
    proven = e.filter(_learned(e, "tube", "proven open")).join(per.select("journal", "out_ms"), "journal")
    proven = (
        proven.filter(proven.out_ms.isnull() | (proven.t_ms >= proven.out_ms))
        .group_by("journal")
        .agg(proven_ms=_.t_ms.min())
    )
    found = journals.left_join(per, "journal").drop("journal_right").left_join(proven, "journal")
    return found.select(
        "id", "home", "started", "flow", "program", "outcome",
        duration_s=_seconds(found.end_ms),
        first_breath_s=_seconds(ibis.cases((found.beats > 0, found.beat_ms), else_=found.pace_ms)),
        call_asked_s=_seconds(found.call_ms),
        on_speaker_s=_seconds(found.speaker_ms),
        tube_out_s=_seconds(found.out_ms),
        tube_proven_s=_seconds(found.proven_ms),
        lowest_spo2=found.lowest_spo2,
        asked_again=found.asked_again.coalesce(0),
        assumed=found.assumed.coalesce(0),
        taken_back=found.taken_back.coalesce(0),
        stops=found.stops.coalesce(0),
        faults=found.faults.coalesce(0),
    )  # fmt: skip


def flows(incidents: Table) -> Table:
    """One row a flow version: how many, how they ended, and the times to the first breath and the call."""
    i = incidents
    return i.group_by("flow").agg(
        incidents=i.count(),
        homes=i.home.nunique(),
        first=i.started.min(),
        last=i.started.max(),
        better=_share(i.outcome == "better"),
        handed_over=_share(i.outcome == "handed over"),
        left_open=_share(i.outcome == "open"),
        breathed=i.first_breath_s.count(),
        first_breath_p50_s=i.first_breath_s.quantile(0.5),
        first_breath_p90_s=i.first_breath_s.quantile(0.9),
        called=i.call_asked_s.count(),
        call_p50_s=i.call_asked_s.quantile(0.5),
        call_p90_s=i.call_asked_s.quantile(0.9),
        on_speaker=i.on_speaker_s.count(),
        on_speaker_p50_s=i.on_speaker_s.quantile(0.5),
        on_speaker_p90_s=i.on_speaker_s.quantile(0.9),
        assumed_an_incident=i.assumed.mean(),
        asked_again_an_incident=i.asked_again.mean(),
    )


def steps(journals: Table, events: Table) -> Table:
    """One row a flow version and step: how long care stood there, and how often nobody answered.

    `assumed`: the share of stays that ended because nobody answered. `repeated`: the share in which
    something was said again. `said_again`: stays in which somebody asked for that.
    """
    e = events.filter(events.step != "")
    stays = e.group_by("journal", "visit").agg(  # a visit is one stay in one step
        step=e.step.max(),
        last_ms=e.t_ms.max(),
        assumed=(_care_moved(e) & (e.how == "assumed")).any(),
        unclear=(e.kind == "unclear").sum(),
        said_again=((e.kind == "answered") & (e.answer == "say again")).any(),
    )
    began = events.filter(_care_moved(events)).select("journal", visit=events.visit + 1, began_ms="t_ms")
    repeats = _said_in_a_stay(events).group_by("journal", "visit").agg(repeated=(_.times > 1).any())
    stays = stays.join(began, ["journal", "visit"]).left_join(repeats, ["journal", "visit"])
    stays = stays.drop("journal_right", "visit_right").join(journals.select("journal", "flow"), "journal")
    stays = stays.mutate(stay_s=_seconds(stays.last_ms - stays.began_ms))
    return stays.group_by("flow", "step").agg(
        stays=stays.count(),
        incidents=stays.journal.nunique(),
        stay_p50_s=stays.stay_s.quantile(0.5),
        stay_p90_s=stays.stay_s.quantile(0.9),
        longest_s=stays.stay_s.max(),
        assumed=_share(stays.assumed),
        repeated=_share(stays.repeated.coalesce(False)),
        asked_again=stays.unclear.sum() / stays.count(),
        said_again=_share(stays.said_again),
    )


def answers(journals: Table, events: Table) -> Table:
    """One row a flow version, step and answer that was heard there.

    `asked_again`: share not believed at first. `taken_back`: share of the believed ones after which the
    next answer was that it was wrong: misheard, or a slip of the tongue.
    """
    e = events.filter(events.kind.isin(["answered", "unclear"]) & events.answer.notnull())
    order = _in_order("journal")
    e = e.mutate(back=((e.kind.lead().over(order) == "answered") & (e.answer.lead().over(order) == "wrong")).coalesce(False))
    e = e.filter(e.answer != "wrong").join(journals.select("journal", "flow"), "journal")
    believed = e.kind == "answered"
    return e.group_by("flow", "step", "answer").agg(
        heard=e.count(),
        incidents=e.journal.nunique(),
        asked_again=_share(~believed),
        believed=believed.sum(),
        taken_back=(believed & e.back).sum(),
    )


def confusions(journals: Table, events: Table) -> Table:
    """One row a pair: an answer that was not believed, and another that was believed next in that stay."""
    e = events.filter(events.kind.isin(["answered", "unclear"]) & events.answer.notnull())
    order = _in_order("journal", "visit")
    e = e.mutate(then=e.answer.lead().over(order), next_kind=e.kind.lead().over(order))
    e = e.filter((e.kind == "unclear") & (e.next_kind == "answered") & (e.then != e.answer))
    e = e.join(journals.select("journal", "flow"), "journal")
    return e.group_by("flow", "step", "answer", "then").agg(
        times=e.count(), incidents=e.journal.nunique()
    )


def prompts(journals: Table, events: Table) -> Table:
    """One row a flow version, step and prompt: in what share of stays it was said again.

    `text`: null for all words of that step that fewer than HOMES_FOR_WORDS homes heard.
    """
    said = _said_in_a_stay(events).join(journals.select("journal", "flow", "home"), "journal")
    per = said.group_by("flow", "step", "text").agg(
        homes=said.home.nunique(),
        stays=said.count(),
        again=(said.times > 1).sum(),
        most_times=said.times.max(),
    )
    shown = per.mutate(text=ibis.cases((per.homes >= HOMES_FOR_WORDS, per.text)))
    return shown.group_by("flow", "step", "text").agg(
        stays=shown.stays.sum(),
        repeated=shown.again.sum() / shown.stays.sum(),
        most_times=shown.most_times.max(),
    )


def _said_in_a_stay(events: Table) -> Table:
    """How many times each prompt was said in each stay; what is said to the operator has no words."""
    said = events.filter((events.kind == "say") & events.text.notnull() & (events.what != "echo"))
    return said.group_by("journal", "visit", "step", "text").agg(times=said.count())


def _in_order(*keys: str) -> ibis.expr.builders.LegacyWindowBuilder:
    return ibis.window(group_by=keys, order_by="seq")


def _care_moved(e: Table) -> Value:
    return (e.kind == "moved") & (e.machine == "care")


def _call_moved(e: Table, to_step: str) -> Value:
    return (e.kind == "moved") & (e.machine == "call") & (e.to_step == to_step)


def _called(e: Table) -> Value:
    return _call_moved(e, "asked") | ((e.kind == "say") & (e.what == "call"))


def _learned(e: Table, what: str, value: str) -> Value:
    return (e.kind == "learned") & (e.what == what) & (e.value == value)


def _seconds(ms: NumericColumn) -> NumericColumn:
    return ms / 1000.0


def _share(holds: Value) -> Value:
    """Of the rows of a group, how many hold: 0 to 1."""
    return holds.cast("int32").mean()
