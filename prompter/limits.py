"""Every queue, retry, wait and length that is not the protocol's own, with its name and reason."""

SAMPLE_RATE_HZ = 16_000
"""Microphone side: what the recognisers take."""

BLOCK_SAMPLES = 512
"""One block of microphone sound: 32 ms, what the speech detector takes."""

MIX_RATE_HZ = 22_050
"""Loudspeaker side: what the embedded voice is made at."""

UTTERANCE_MAX_MS = 8_000
"""Longer talk is cut here and not believed: no answer is that long."""

JOURNAL_WAIT_MS = 20
"""A prompt waits this long for the disk to acknowledge its event, then speaks all the same."""

JOURNAL_RETRY_S = 0.5
"""Pause before a failed write to the journal is tried again."""

JOURNAL_STALL_S = 2.0
"""A disk that has not answered for this long is reported as trouble."""

JOURNAL_CLOSE_S = 3.0
"""Closing waits this long for what is still in memory to reach the disk."""

JOURNAL_HELD_MAX = 20_000
"""Events kept in memory while the disk fails: some hours of an emergency."""

RESUME_WITHIN_S = 600
"""A younger journal that is not closed is taken up; after a longer gap the first questions fit better."""

RESUME_CLOCK_BACK_S = 7_200
"""A journal that seems to come from the future by up to this is taken for one before the clock was
set back; how long the gap was is not known then."""

RESUME_LOOKS = 8
"""So many of the newest journals are looked at before an emergency begins: each costs milliseconds."""

RESUME_TRIES = 3
"""Stops in a row, without a prompt to its end in between, after which an emergency begins anew: where it
was may be what stops it."""

RESUME_FAILURES = 2
"""The same, when the program itself failed so often in one emergency."""

CLOCK_CHANGED_S = 2.0
"""A difference between wall clock and session clock that grows by this is journalled."""

JOURNAL_BYTES_MAX = 64 * 1024 * 1024
"""A longer file is no journal of one emergency (which has about 0.3 MB)."""

# ---- hearing -----------------------------------------------------------------------------------

PRE_ROLL_BLOCKS = 8
"""Sound kept from before an onset (256 ms): soft first consonants are not clipped."""

ONSET_BLOCKS = 2
"""Blocks of speech in a row that surely are speech."""

SPEECH_BEGINS = 0.5
"""Probability of speech at which a block counts as the beginning of an utterance."""

SPEECH_SUSPECTED = 0.3
"""Probability of speech in a single block at which a prompt gives way. Of 128 answers by 16 voices at
the loudness of the prompt 95 in 100 silence it within 150 ms so, within 180 ms where two blocks of
SPEECH_BEGINS are asked for; in six minutes of prompts alone, most in noise, none or one is cut in vain."""

SPEECH_STAYS = 0.35
"""Probability of speech above which an utterance goes on."""

QUIET_DB = -65.0
"""Blocks below this level are silence without a look."""

FADED_DB = 35.0
"""A block this far below the utterance's loudest is a pause, whatever the detector says."""

SPOKEN_BLOCKS_MIN = 3
"""Shorter sounds (under 96 ms) are not scored."""

CANDIDATE_MS = 64
"""Silence after which scoring begins while the end is still being waited for."""

END_SURE_MS, END_BELIEVED_MS, END_DOUBTED_MS = 160, 384, 448
"""Silence that ends an utterance: what is surely heard soon, what is only believed later, as it may be
the beginning of something else ("nothing", for "nothing on it", is near to "no breathing"), and anything
else last: people pause inside a phrase. With 352 and 416 ms, of 900 phrases with pauses of up to 350 ms by the
fit half, 12 were cut off early, with these 5."""

END_SURE = 5.5
"""Log-odds from which what is believed is surely heard. Of 900 phrases with pauses by the fit half 9 were cut off so,
at 4.5 19; with 160 ms for all that is believed five in a hundred are (README)."""

BEAMS = 5
"""Free decodes made of one utterance: a wording is looked at where it sounds like any of them."""

FIRST_LOOK, CLOSER_LOOK, WIDEST_LOOK = (8, 4), (20, 8), (48, 14)
"""Answers and decoys that are scored at once, in doubt, and in doubt where the first look found nothing
likely. Of answers by 16 voices, clean to hiss at 0 dB, the first look settles two in three, as many as
one at twice the wordings; the right answer is the best of the widest look in 94%, of 24 and 8 wordings
in 92%, of 64 and 20 in 95%. Of 63 doubted sounds the closer and the widest look believe the same in all
but one, which the first look had put at -2.4; of 1,531 by 20 other voices and by people in all but six,
all of them right answers, three either way."""

FOUND = -2.0
"""Log-odds of the first look from which the closer look is enough."""

VERY_FIRST = (4, 2)
"""Answers and decoys of the first look that are scored before the others."""

SETTLED = 5.0
"""Log-odds from which they are enough. A point more than what spares the closer look: what is left
out could only have spoken against the answer."""

HOPELESS, SURE_AT_ONCE = -4.0, 3.0
"""Log-odds of the first look below which no closer look is taken, and from which none is needed. Of 201
sounds by 20 other voices and by people that it put between -6 and -4 a closer look believed none."""

BRANCH_SURE_AT_ONCE, WIDER_LOOK = 4.0, (16, 4)
"""Below this what leads another way is told from so many answers and decoys before it is sure at once:
"chest stays flat", the twelfth of them, was "chest rising" at 3.1 beside crying as loud to a first look
that had not tried it. It took 67 ms where a closer look took 402 (p50 of 61, two cores, busy)."""

SEEN_AGAIN = (6, 3)
"""The best of these, in doubt scored once more: by the second model at other speeds, or, where there is
none, in a window twice as long."""

OTHER_SPEEDS = (0.86, 1.1)
"""Said slower and faster, with its pitch: another model's third and fourth opinion. Of 1,957 answers by
the fit half, many in noise, 1,711 were believed at the cost of 5 mistakes without it and 1,775 with it;
a longer window of the first model besides gave no more."""

POSITIONS_BEHIND = 80
"""Encoder positions (20 ms) kept behind the sound; fewer than some 75 garble the decode."""

ALIGNED_AT_ONCE = 8
"""Wordings in one batch: a number brings some sixty, and all at once they took 120 MB more; sixteen take
20 MB more and no less time."""

SILENCE_AROUND_MS = (200, 300)
"""Put before and behind an utterance for the second model, which hears a first word at once less well."""

BESIDE_AT_ONCE = 8
"""Wordings in one of its batches: with sixteen it takes 38 MB more, and a tenth less time."""

BESIDE_HANGS_S = 2.0
"""The second model's answer is waited for so long, then it is done without until it has answered all the same
(the computer may have slept for a moment)."""

BESIDE_LATE_MOST = 3
"""So often it may be late; then it is done without for good: a machine that is too slow for it stays so."""

BESIDE_READY_S = 10.0
"""Its loading, and what it does ahead, is waited for so long: the first model must not be kept from joining."""

PADDED_MOST = 8
"""Tokens that shorter wordings of a batch may be filled up with: as much work as another batch."""

WINDOW_FRAMES = 400
"""The recogniser's shortest analysis window, frames of 10 ms."""

WINDOW_STEP_FRAMES = 100
"""Longer sounds take windows in these steps: each length has its own thresholds."""

WINDOW_MAX_FRAMES = 3_000
"""The longest window there is."""

WINDOW_TAIL_FRAMES = 50
"""Silence that must fit behind the sound in the window."""

PLAN_BYTES = 256_000
"""A plan's file; a larger one is something else, and reading it would keep an emergency waiting."""

PLAN_VALUES = 1_000
"""Values in a plan's file: aliases cannot grow into memory."""

ECHO_TAIL_MS = 400
"""Of the prompter's own sound so much is taken out after it was played: the way, and the room's tail."""

NOISE_MS = 8_000
"""So much of the room's sound says how loud it is."""

PLAYED_BLOCKS = 2_000
"""Blocks of played sound that may wait for the listener: a quarter of a minute at 128 samples."""

PLAYED_AHEAD_MS = 10
"""How far what was played is taken earlier than its reported time."""

PLAYED_JUMP_MS = 60
"""Count and clock further apart than this: sound was lost, or comes from another device."""

ECHO_LEFT_DB = -12.0
"""With more than this left of its own sound, the prompter is deaf while it speaks."""

ECHO_MARGIN_DB = 10.0
"""How far a block must stand above what the filter expects to have left to be somebody's voice."""

ECHO_ALIKE = 0.2
"""Likeness of what is left to what was played from which on the way has changed."""

# ---- speaking ----------------------------------------------------------------------------------

SPEECH_GAP_MS = 120
"""Silence between two clips: without it two actions sound like one sentence."""

TONE_GAP_MS = 40
"""Silence between a tone and the clip after it: the tone must not make the word wait."""

HUSH_FADE_MS = 20
"""A clip that is cut fades this fast: no click, and silent within a few tens of milliseconds."""

GIVE_WAY_FADE_MS = 10
"""The same for a prompt that gives way to somebody who speaks: their first words are under it."""

SUSPECTED_MS = 128
"""Speech that was suspected and is not certain by then was none: the prompt is said again."""

GIVE_WAY_MS = 3_000
"""A prompt waits this long for somebody who speaks, then is said over them: most answers are shorter."""

GIVE_WAY_TIMES = 2
"""So often a prompt gives way, then it is said to its end: a crying child must not silence it for good."""

SPEECH_QUEUE_MAX = 64
"""Cues waiting to be played; beyond that the oldest waiting one is dropped."""

MIX_REPORTS_MAX = 10_000
"""Reports of the mixer that nobody has fetched; beyond that beats are not reported."""

VOICE_HANGS_S = 2.0
"""A voice that has not spoken a sentence for this long is given up. The first takes 0.2 s, on a
busy computer more."""

RESAMPLED_CLIPS_MAX = 1_000
"""Clips kept at the sound card's rate: several protocols' worth."""

OUTPUT_LATENCY_S = 0.04
"""Sound waiting in the card: the lowest it offers (9 ms) ran dry on a busy computer, and a sound
server then needed 2 s to start again."""

OUTPUT_STALL_S = 3.0
"""A loudspeaker that has not asked for sound for this long has failed. Sound servers may take 2 s
over the first block."""

OUTPUT_FIRST_S = 2.4
"""The same for the first block of a loudspeaker that was just opened."""

OPENED_IN_VAIN_S = 5.0
"""A loudspeaker lost so soon after it was opened opens, but does not play: others are tried before it."""

NULL_OUTPUT_STEP_S = 0.02
"""How often the stand-in for a loudspeaker draws from the mixer."""

SPO2_RANGE_PERCENT = (40, 100)
"""Saturations outside are asked back: meters show nothing sensible below."""

PULSE_RANGE_PER_MINUTE = (20, 250)
"""Heart rates outside are asked back."""

CLIP_MAX_S = 600
"""Longer sound files are refused."""

MICROPHONE_QUEUE_BLOCKS = 64
"""Blocks (2 s) that may wait for the listener; more are lost and counted."""

MICROPHONE_SILENT_S = 1.0
"""A microphone that gave no block for this long is in trouble."""

SCORER_QUEUE = 4
"""Utterances that may wait for the ears; older ones are stale and dropped."""

EAR_HANGS_S = 5.0
"""An ear that has not answered for this long is dropped."""

DEADLINES_AT_ONCE = 10_000
"""Deadlines the flow may pass within one event (hours of silence); more means that it spins."""

PROMPT_LOST_MS = 3_000
"""A prompt not reported ended this long after it should have been is taken for lost."""

SPEECH_FIXED_MS, SPEECH_WORD_MS = 500, 450
"""A generous estimate of a clip's length, for when nobody reports its end."""

SILENCE_SHARE = 0.6
"""Part of a wording's likelihood in silence taken off its score (fitted, see tests/bench)."""

ASK_BACK_SCORE, ASK_BACK_MARGIN = -1.5, 0.0
"""An utterance at least this near to an answer is asked back by name; others hear the question again."""

TWICE_SCORE = 0.0
"""Heard twice in doubt, an answer counts where the log-odds of both come to more than this: then it
is likelier right than wrong. Who says the right word twice over a wrong "I heard" is not taken for it."""

CUT_CALL_AGAIN_MS = 6_000
"""A request for the call that was cut by an answer is made again after this."""

NOTES_WAITED_FOR = 6
"""So many notes in a row are waited for afterwards; more may be a radio. Common practice, no source."""

# ---- live --------------------------------------------------------------------------------------

OUTPUT_RATE_HZ = 48_000
"""The mixer's rate when the loudspeaker's own is not known in time: most cards take it."""

LOUDSPEAKER_WAIT_S = 1.0
"""The first prompt waits this long for a slow sound card, then begins on the screen alone."""

MICROPHONE_LOST_S = 2.0
"""A microphone that gave no block for this long is opened anew; a busy machine is late at times."""

STREAM_CLOSE_S = 1.0
"""Closing a stream takes tenths of a second; a driver that hangs is waited for no longer."""

SOUND_CARD_RETRY_S = 3.0
"""Pause between attempts to open a lost microphone or loudspeaker."""

LOOK_AGAIN_TRIES, LOOK_AGAIN_MOST = 2, 80
"""After so many failed attempts a lost device is looked for with the other one closed for a moment:
the sound library finds what was plugged in since only then. For a microphone less and less often, at
last after this many (four minutes)."""

LOOK_AGAIN_QUIET_MS = 1_000
"""The loudspeaker is closed for that only where nothing will sound for so long: between two breaths."""

STOOD_STILL_S = 5.0
"""A program that did nothing for this long was asleep or held up: it says where it is, as after a stop."""

TURN_S = 0.02
"""How long the runner waits for a key or sound before it lets deadlines pass."""

WATCH_S = 0.5
"""How often the runner looks whether its parts are well."""

RUNNER_HANGS_S = 5.0
"""A runner that has not turned for this long is taken for dead; the last resort begins."""

BLOCK_JUMP_MS = 500
"""Microphone blocks further from the clock than this were lost, or come from a new device."""

RUNNER_LOOKS = 3
"""Looks in a row, WATCH_S apart, at which it must have stood still."""

JOURNAL_NAMES_MAX = 100
"""Journals begun within one second."""

KEPT_SOUNDS_QUEUE = 32
"""Utterances waiting to be written; more are not kept."""

KEYS_WAIT_S = 0.2
"""How often the reader of keys looks whether it shall end."""

NUMBER_DIGITS = 3
"""Digits of a keyed number."""

CLOSE_AGAIN_S = 10.0
"""Ctrl-C twice within this closes."""

SCREEN_WAIT_S = 0.5
"""How often the screen looks whether its window has another size."""

LAST_RESORT_EVERY_S = 20.0
"""Pause between the sentences of the last resort: the call's own reminder (flow rules)."""

OWN_ECHO_TAIL_MS = 120
"""A room goes on sounding this long after the prompter's last word; people answer after about 200 ms."""

OWN_ECHO_JUDGED_MS = 1_600
"""So much of the prompter's speech at a time shows whether the microphone hears the loudspeaker."""

OWN_ECHO_STRETCHES = 2
"""Stretches of the prompter's speech the microphone must not follow before it stays open in them."""

OWN_ECHO_LIKENESS = 0.5
"""Correlation of levels above which the microphone hears the loudspeaker (to be fitted)."""

OWN_ECHO_DELAY_MS = 480
"""The longest way from loudspeaker to microphone, wireless ones included."""

OWN_ECHO_BLOCKS = 4_000
"""Blocks of played sound remembered: half a minute at 128 samples a block."""

SWITCH_S = 0.001
"""How long one thread may keep another waiting: the sound card's call cannot wait the usual 5 ms."""

CLIP_PAUSE_S = 0.01
"""Pause between clips rendered beside the first prompts."""

# ---- self-test ---------------------------------------------------------------------------------

READY_FREE_BYTES = 500_000_000
"""Less room on the disk is not ready: records, their sound, and what else the machine writes."""

READY_LISTEN_S = 1.0
"""How long the room is listened to before a tone is played."""

READY_TONES_S = 2.5
"""How long the tones may take to come back, wireless devices included."""

READY_TONE_DB = 10.0
"""How far a tone must stand above the room."""

READY_LEVEL_S = 5.0
"""How long a prompt of two sentences may take to be spoken and come back."""

READY_CLIPPED = 1e-4
"""Share of samples at full scale from which a microphone is overdriven."""

READY_PHRASE_S = 6.0
"""How long a spoken phrase is waited for."""

PREPARE_PAUSE_S = 0.2
"""Pause between batches of wordings made ready beside the first prompts."""

EAR_RETRY_S = 30.0
"""Ears that could not be loaded are tried again after this."""

EAR_RELOADS_MAX = 5
"""How often ears that failed in one emergency are loaded again: each time costs computing."""

TENS_TRIED = 2
"""Of a number whose value was not decoded: so many tens are tried with all their ones."""

# ---- one's own voice, in calm ------------------------------------------------------------------

TAKE_WAIT_S = 8.0
"""A wording to be recorded is waited for this long, then offered once more."""

TAKE_ROOM_MS = 608
"""Of the room kept before and after a recorded wording: longer than what ends an utterance."""

TAKES_A_WORDING = 2
"""Recordings of each wording: one may be a slip."""

TAKE_TRIES = 3
"""Attempts at one recording; then it waits for another day."""

TUNED_STEPS = 3
"""Steps at which a recording is judged: where it is asked for, and where it is likeliest to be
taken for something else. Each costs about 0.15 s."""

# ---- fetching a model (prompter ears install alone) ---------------------------------------------

FETCH_STALL_S = 30.0
"""A server that has not sent a byte for this long is taken for gone."""

FETCH_TRIES = 5
"""Tries in a row that brought no new byte, after the first connection was made."""

FETCH_PAUSE_S = 2.0
"""Pause before a cut connection is made again."""

UNPACKED_FILES_MAX = 100
"""A model has about 15 files; an archive with more is something else."""

UNPACKED_BYTES_MAX = 200_000_000
"""The English model unpacks to 71 MB; an archive that holds more than this is something else."""

NOISE_LEVEL_CLIPS = 50
"""Clips whose level tells how loud noise must be beside a clip that has no speech."""

# ---- wordings ----------------------------------------------------------------------------------

OPPOSITE_DISTANCE = 0.4
"""Least phoneme distance between wordings of opposite answers of one step, one of them with its 'not'
lost included. Fitted on four voices, clean and in crying at 0 dB (tests/bench/bench_words.py figures):
of wordings nearer than this 6 in 560 are taken for the other (believed, or asked back by its name), of
those beyond 0.45 106 in 195,776. Four voices that chose nothing: 2 in 280 and 15 in 97,888."""

DENIED_DISTANCE = 0.3
"""Least distance of a wording with a 'not' added to one of an opposite answer, which mostly says the
same as it. Nearer than this 2 in 96 are taken for each other (the same voices)."""
