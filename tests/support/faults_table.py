"""Guided runs with planted faults, and a table of what became of them.

Run as ``python -m tests.support.faults_table``.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hingeline.bench.simulated.faults import Fault, faults
from hingeline.cli.mistakes import Found, Guided
from hingeline.cli.output import table
from hingeline.model.schema import Model
from hingeline.model.throws import signed_deg
from hingeline.model.words import directions, sign_of
from hingeline.model.writing import example_text

SHARES = (1.0, 0.5, 0.0, -0.5, -1.0)


@dataclass(frozen=True)
class Run:
    """One guided run, and what is true after it.

    Attributes
    ----------
    model : Model
    found : tuple of Found
        What was made of each planted fault.
    passed : bool
        Whether all was done, and it was signed.
    prompts : int
    lines : list of str
        Everything shown to the builder.
    rows : dict
        What the command gives as figures.
    true_deg : dict
        For each surface and share of its throws where it truly stands, positive in its first
        direction, with the pulses that were handed over. A radio goes in proportion.
    misses_deg : dict
        The same less what is wanted.
    strained : list of str
        Surfaces that are driven beyond their free travel at an end.
    """

    model: Model
    found: tuple[Found, ...]
    passed: bool
    prompts: int
    lines: list[str]
    rows: dict[str, Any]
    true_deg: dict[str, dict[float, float]]
    misses_deg: dict[str, dict[float, float]]
    strained: list[str]

    @property
    def worst_deg(self) -> float:
        """Largest miss of any surface at any share."""
        return max(abs(miss) for own in self.misses_deg.values() for miss in own.values())

    @property
    def neutral_deg(self) -> float:
        """Largest miss at neutral."""
        return max(abs(own[0.0]) for own in self.misses_deg.values())

    @property
    def mismatch_deg(self) -> float:
        """Largest difference between the sides of a pair."""
        return max(
            abs(self.true_deg[pair.left][share] - self.true_deg[pair.right][share])
            for pair in self.model.pairs
            for share in SHARES
        )


def play(
    fault: Fault | None,
    folder: Path,
    *,
    known: bool = False,
    port: str = "sim:20",
    text: str | None = None,
) -> Run:
    """Play a guided run with one fault; ``known``: its servos are on record from a run before."""
    return play_all(() if fault is None else (fault,), folder, known=known, port=port, text=text)


def play_all(
    mistakes: tuple[Fault, ...],
    folder: Path,
    *,
    known: bool = False,
    port: str = "sim:20",
    text: str | None = None,
) -> Run:
    """Play a guided run with several faults at once."""
    records, text = folder / "faults.sqlite", text or example_text()
    if known or any(fault.known for fault in mistakes):
        Guided(text, (), records, _quiet, port=port).play()
    lines: list[str] = []
    guided = Guided(text, mistakes, records, lines.append, port=port)
    rows = guided.play()
    true = {row["surface"]: _true_deg(guided, row) for row in rows["surfaces"]}
    misses = {
        name: {share: deg - _wanted_deg(guided.model, name, share) for share, deg in own.items()}
        for name, own in true.items()
    }
    return Run(
        guided.model,
        tuple(guided.found()),
        rows["pass"],
        guided.prompts,
        lines,
        rows,
        true,
        misses,
        [name for name, own in true.items() if _strained(guided, name, own)],
    )


def _quiet(_line: str) -> None:
    pass


def _wanted_deg(model: Model, name: str, share: float) -> float:
    surface = model.surface(name)
    first, second = directions(surface)
    end = signed_deg(surface, first if share > 0 else second)
    return sign_of(surface, first) * abs(share) * end


def _true_deg(guided: Guided, row: dict[str, Any]) -> dict[float, float]:
    surface = guided.model.surface(row["surface"])
    words = directions(surface)
    first, centre = sign_of(surface, words[0]), row["centre_us"]
    found = {}
    for share in SHARES:
        end = row["ends_us"][words[0 if share > 0 else 1]]
        pulse = centre + abs(share) * (end - centre)
        # Outward from neutral; neutral itself as it is come to from the second way.
        rising = row["ends_us"][words[1]] < centre if share == 0 else pulse > centre
        found[share] = first * guided.true_deg(surface, pulse, rising=rising)
    return found


def _strained(guided: Guided, name: str, own: dict[float, float]) -> bool:
    station = next(
        one for one in guided.stations.values() if one.surface and one.surface.name == name
    )
    surface = guided.model.surface(name)
    low, high = station.free_deg
    first = sign_of(surface, directions(surface)[0])
    return not all(low <= first * deg <= high for deg in own.values())


def lines(runs: dict[str, Run]) -> list[str]:
    """Lay out planted against named."""
    rows = []
    for name, run in runs.items():
        one = run.found[0] if run.found else None
        rows.append(
            (
                name,
                one.fault.surface if one else "-",
                ", ".join(one.causes) or "-" if one else "-",
                ", ".join(one.mends) or "-" if one else "-",
                "yes" if run.passed else "NO",
                str(run.prompts),
                f"{run.worst_deg:.2f}",
                f"{run.neutral_deg:.2f}",
                f"{run.mismatch_deg:.2f}",
            )
        )
    headings = ["planted", "where", "named", "done", "passed"]
    return table([*headings, ">prompts", ">worst deg", ">neutral", ">pair"], rows).splitlines()


def main() -> None:
    """Play all faults and print the table."""
    runs = {}
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        for known in (False, True):
            place = Path(folder) / f"sound-{known}"
            place.mkdir()
            name = "nothing" + (", servos on record" if known else "")
            runs[name] = play(None, place, known=known)
        for number, fault in enumerate(faults()):
            place = Path(folder) / str(number)
            place.mkdir()
            runs[fault.name] = play(fault, place)
    for line in lines(runs):
        print(line)


if __name__ == "__main__":
    main()
