"""Putting the firmware on a board, step by step; a step that fails leaves a board that waits.

The order is what makes it safe: ``main.py`` goes first and comes last. A cable pulled or power
cut in between leaves a board that stays at its prompt, and the next run goes on from there.
"""

from __future__ import annotations

import contextlib
import re
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from hingeline.bench.greeting import BoardInfo
from hingeline.bench.identifying import (
    MICROPYTHON,
    PATIENCE_S,
    Answer,
    age,
    identify,
    summary,
)
from hingeline.bench.installing.contents import (
    LOOK,
    PINS,
    TRY_PINS,
    Contents,
    read_contents,
    read_fault,
)
from hingeline.bench.installing.firmware import FOLDERS, MAIN, Payload, compiled
from hingeline.bench.installing.leaving import leave
from hingeline.bench.installing.plan import Plan, check_whole, make_plan
from hingeline.bench.installing.saying import intention, losses
from hingeline.bench.installing.tool import Tool
from hingeline.bench.ports import same_again, usb_number
from hingeline.bench.transport import SerialTransport
from hingeline.errors import BenchError, Stopped

#: How long a board may take to start again, its port to come back included.
BACK_S = 15.0
_PAUSE_S = 0.25
_GREETING_S = 1.2
_STARTING_S = 5.0
#: The oldest MicroPython that the firmware is written for.
OLDEST = (1, 24)

Tell = Callable[[str], None]
Agree = Callable[[str], bool]


@dataclass(frozen=True)
class Installed:
    """What was done.

    Attributes
    ----------
    port : str
        Where the board is now.
    plan : Plan
        What was written and removed.
    payload : Payload
        What is on the board now.
    info : BoardInfo
        What the board said of itself after its start.
    machine, micropython : str
        What MicroPython says of the board; its version.
    """

    port: str
    plan: Plan
    payload: Payload
    info: BoardInfo
    machine: str
    micropython: str


def install(
    port: str,
    files: Mapping[str, bytes],
    *,
    as_sources: bool,
    pins: bytes | None,
    tell: Tell,
    agree: Agree,
) -> Installed:
    """Put the firmware on a board, start it, and wait for its greeting.

    Parameters
    ----------
    port : str
        Name of the port.
    files : mapping of str to bytes
        The firmware's sources.
    as_sources : bool
        Do not compile them.
    pins : bytes or None
        Contents of a list of pins to be put beside them.
    tell, agree : callable
        Say what is done; say what is about to be done, and ask whether to go on.

    Raises
    ------
    BenchError
        When a step fails; the message says what state the board is in.
    Stopped
        When the user does not agree.
    """
    tool = Tool(port)
    number = usb_number(port)
    with SerialTransport(port) as transport:
        answer = identify(transport, PATIENCE_S)
    if not agree(intention(port, answer)):
        ended = " its pulses were ended;" if answer.kind == "firmware" else ""
        raise Stopped(f"stopped;{ended} the board's program is as it was.")
    if answer.wire:
        tell("The board's program is ended ...")
        with SerialTransport(port) as transport:
            leave(transport, answer.wire)
        port, _ = _back(port, number, "micropython")
        tool = Tool(port)
    tell("Looking at what is on the board ...")
    there = read_contents(tool.run(["exec", LOOK], afresh=True))
    _check_interpreter(port, there)
    payload = _payload(dict(files), there, as_sources, tell)
    wanted = {**({PINS: pins} if pins is not None else {}), **payload.files}
    plan = make_plan(wanted, there)
    lost = losses(plan)
    if lost and not agree(lost):
        raise Stopped(
            "stopped; nothing was written. The board's program runs from its next start."
        )
    if plan.copy:
        _copy(tool, plan, wanted, tell)
    else:
        tell("Every file is there already.")
    if PINS in wanted or PINS in there.names:
        _try_pins(tool)
    tell("The board is started ...")
    with contextlib.suppress(BenchError):  # the port may go while mpremote still has it open
        tool.run(["reset"])
    port, answer = _back(port, number, "firmware")
    if answer.info is None or age(answer.info):
        raise BenchError(
            f"{port}: {summary(answer)}.",
            cause="Another copy of the firmware comes before the one just written.",
            mend="Remove other files named benchboard from the board, and run the command again.",
        )
    return Installed(port, plan, payload, answer.info, there.machine, _dotted(there.version))


def _try_pins(tool: Tool) -> None:
    """Let the board look at its list of pins, by the firmware's own rules, before its start."""
    fault = read_fault(tool.run(["exec", TRY_PINS]))
    if fault:
        raise BenchError(
            f"{tool.port}: the board cannot use its list of pins: {fault}.",
            cause="The firmware is on the board. Started with this list it has no channels.",
            mend="Correct the list and run the command again with --pins; "
            "hardware/README.md says which pins suit.",
        )


def _check_interpreter(port: str, there: Contents) -> None:
    if there.version[:2] < OLDEST:
        raise BenchError(
            f"{port}: the board's MicroPython is version {_dotted(there.version)}; "
            f"{_dotted(OLDEST)} is the oldest that the firmware runs on.",
            mend=f"Put a newer MicroPython on the board first: {MICROPYTHON}",
        )


def _dotted(numbers: Sequence[int]) -> str:
    return ".".join(map(str, numbers))


def _payload(files: dict[str, bytes], there: Contents, as_sources: bool, tell: Tell) -> Payload:
    payload = Payload(files, why_sources="asked for") if as_sources else compiled(files)
    if payload.bytecode and payload.bytecode != there.bytecode:
        payload = Payload(
            files,
            why_sources=f"the board takes version {there.bytecode} of compiled files, "
            f"the compiler makes {payload.bytecode}",
        )
    if payload.why_sources:
        tell(f"Sources are copied, with which the board starts slower: {payload.why_sources}.")
    return payload


def _copy(tool: Tool, plan: Plan, wanted: Mapping[str, bytes], tell: Tell) -> None:
    done = 0

    def progress(line: str) -> None:
        nonlocal done
        word, _, rest = line.partition(" ")
        if word == "cp":
            done += 1
            tell(f"  {done:2d} of {len(plan.copy)}  {rest.rpartition(':')[2]}")

    with tempfile.TemporaryDirectory() as folder:
        steps = []
        for number, (path, data) in enumerate(plan.copy.items()):
            file = Path(folder) / f"{number}"
            file.write_bytes(data)
            steps.append(["fs", "cp", str(file), f":{path}"])
        others = {path: data for path, data in wanted.items() if path != MAIN}
        first = tool.run(
            ["exec", _preparation(plan)], *steps[:-1], ["exec", LOOK], each_line=progress
        )
        check_whole(others, read_contents(first), tool.port)
        last = tool.run(steps[-1], ["exec", LOOK], each_line=progress)
        check_whole(wanted, read_contents(last), tool.port)


def _preparation(plan: Plan) -> str:
    lines = ["import os", "def no(f, *a):", " try: f(*a)", " except OSError: pass"]
    if plan.keep_main:
        lines.append(f"os.rename({MAIN!r}, {plan.keep_main!r})")
    else:
        lines.append(f"no(os.remove, {MAIN!r})")
    lines += [f"os.remove({path!r})" for path in plan.remove]
    lines += [f"no(os.mkdir, {folder!r})" for folder in FOLDERS]
    return "\n".join(lines)


def _back(port: str, number: str | None, wanted: str) -> tuple[str, Answer]:
    """Wait until the board is back and answers as wanted; return its port and the answer."""
    end = time.monotonic() + BACK_S
    trouble = BenchError(f"{port}: it is not on any port.")
    at_prompt = 0
    while time.monotonic() < end and at_prompt < 2:
        time.sleep(_PAUSE_S)
        here = same_again(port, number)
        if here is None:
            trouble = BenchError(f"{port}: it is not on any port.")
            continue
        try:
            with SerialTransport(here) as transport:
                answer = identify(transport, _GREETING_S)
        except BenchError as error:
            trouble = error
            continue
        if answer.kind == wanted:
            return here, answer
        at_prompt += answer.kind == "micropython"
        trouble = BenchError(f"{here}: {summary(answer)}.")
    if wanted == "firmware":
        raise BenchError(
            f"the firmware is on the board, but did not greet. {trouble.message}",
            cause=_why_silent(same_again(port, number) or port) if at_prompt else trouble.cause,
            mend="Let go of the board's button, or take the strap off, unplug the board and plug "
            "it in again; then see: hingeline board info",
        )
    raise BenchError(
        f"the board did not come back to its prompt in {BACK_S:g} s. {trouble.message}",
        cause=trouble.cause,
        mend="Hold the board's button, or tie its strap to ground, while plugging it in, and run "
        "the command again.",
    )


def _why_silent(port: str) -> str:
    """Start a board that stays at its prompt once more, and return what it says of a fault."""
    seen = b""
    with contextlib.suppress(BenchError), SerialTransport(port) as transport:
        transport.write(b"\x04")
        end = time.monotonic() + _STARTING_S
        while time.monotonic() < end and not seen.endswith(b">>> "):
            seen += transport.read(_PAUSE_S)
    lines = seen.decode("utf-8", "replace").splitlines()
    faults = [line for line in lines if re.match(r"\w+(Error|Exception)\b", line)]
    if faults:
        return f"When it is started it says: {faults[-1]}"
    return "It stays at its prompt, as with the button held."
