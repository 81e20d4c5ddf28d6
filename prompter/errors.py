"""The two families of error: the outside's (`CannotDo`, exit code 2) and ours (`Bug`)."""


class CannotDo(Exception):
    """The request cannot be carried out: says what, where, and how to mend it, in one line.

    `where` is a file (with `:line` if known), a device or an argument.
    """

    def __init__(self, what: str, where: str = "", mend: str = "") -> None:
        self.what, self.where, self.mend = what, where, mend
        super().__init__(self.one_line())

    def one_line(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        if self.mend:
            text += f" Mend: {self.mend}"
        return " ".join(text.split())


class Bug(Exception):
    """Something the program promised itself does not hold. Caught at the edge, never silently."""
