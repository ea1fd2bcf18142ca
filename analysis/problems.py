"""What the owner can mend, told in plain words and without a traceback."""

from __future__ import annotations


def printable(text: str) -> str:
    """Give a text with question marks for what a screen would obey and not show.

    Examples
    --------
    >>> printable("log" + chr(27) + "[2J" + chr(10)), printable("Zoë, 3 March")
    ('log?[2J?', 'Zoë, 3 March')
    """
    return "".join(letter if letter.isprintable() else "?" for letter in text)


class DataProblem(Exception):
    """Something in a file or a setting that the owner of the clinic can put right.

    Parameters
    ----------
    what : str
        One sentence saying what is wrong, in the trade's words.
    remedy : str
        One sentence saying what to do about it.
    file : str, optional
        Name of the file, without the path to it.
    row : int, optional
        Row as the owner's spreadsheet counts it: the header is row 1.
    column : str, optional
        Column heading as it stands in the file.
    value : str, optional
        The value found. Never pass a value of an identifying column.
    setting : str, optional
        Name of the setting, as ``part.name``.

    Examples
    --------
    >>> print(DataProblem("The date cannot be read.", "Write it as 2026-03-01.",
    ...                   file="visits.csv", row=7, column="Date", value="31/02/26"))
    visits.csv, row 7, column "Date", value "31/02/26": The date cannot be read. Write it as 2026-03-01.
    """

    def __init__(
        self,
        what: str,
        remedy: str,
        *,
        file: str | None = None,
        row: int | None = None,
        column: str | None = None,
        value: str | None = None,
        setting: str | None = None,
    ) -> None:
        self.what = what
        self.remedy = remedy
        self.file = file
        self.row = row
        self.column = column
        self.value = value
        self.setting = setting
        super().__init__(str(self))

    def _render_traceback_(self) -> list[str]:
        """Show a notebook the sentence alone, without a traceback."""
        return [str(self)]

    def __str__(self) -> str:
        """Say where, what and remedy in one line."""
        places = [
            self.file,
            None if self.row is None else f"row {self.row}",
            None if self.column is None else f'column "{self.column}"',
            None if self.setting is None else f'setting "{self.setting}"',
            None if self.value is None else f'value "{self.value}"',
        ]
        where = ", ".join(place for place in places if place)
        told = f"{where}: {self.what} {self.remedy}" if where else f"{self.what} {self.remedy}"
        return printable(told.replace("\u00a0", " "))


class NotEnough(Exception):
    """The log holds too few visits, or lacks a fact, for one question.

    Not an error of the owner's: an answer turns it into one sentence that
    says why there is no figure and what to record from now on.

    Parameters
    ----------
    why : str
        One sentence: what is missing or too few, with the count.
    record : str
        One sentence: what to record, or how long to wait.
    """

    def __init__(self, why: str, record: str) -> None:
        self.why = why
        self.record = record
        super().__init__(f"{why} {record}")
