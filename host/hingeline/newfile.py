"""Writing a file that must not exist yet: nothing of the user's is ever overwritten."""

from __future__ import annotations

from pathlib import Path

from hingeline.errors import HingelineError


def write_new(path: Path, text: str, error: type[HingelineError]) -> None:
    """Write text to a new file, as UTF-8, with its line ends as they are.

    Parameters
    ----------
    path : pathlib.Path
        The file; its folder must exist.
    text : str
        What to write.
    error : type of HingelineError
        What to raise.

    Raises
    ------
    HingelineError
        Of the type given, when the file exists or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError:
        raise error(
            f"{path}: there is such a file already; it was left as it is.",
            mend="Choose another name.",
        ) from None
    except OSError as failure:
        raise error(
            f"{path}: cannot be written ({failure.strerror}).",
            mend="Check that the folder exists and may be written.",
        ) from None
