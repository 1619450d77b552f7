"""The figures for the radio, laid out for people."""

from __future__ import annotations

from collections.abc import Iterator

from hingeline import chord, units
from hingeline.cli.handed import Found, Radio, Work, differential_of, stands_at
from hingeline.cli.output import table, wrapped
from hingeline.model.schema import Pair
from hingeline.rigging.handing import Handed
from hingeline.rigging.mixing import sums
from hingeline.rigging.onesignal import OneSignal
from hingeline.rigging.remaining import sentences
from hingeline.rigging.sticks import HOW, commands_of, expected

#: A surface that stands nearer to neutral than this at its servo's centre is not told of; our
#: own choice, what a gauge of half a degree shows.
SHOWN_DEG = 0.5
#: The same at mid-travel, in parts of the larger throw; our own choice.
SHOWN_PART = 0.1
#: An arm that is off by so much is often put down to a bench with another centre, which does
#: not explain it.
LARGE_DEG = 10.0
SAYS = {"measured": "measured", "curve": "computed", "maker": "MAKER'S RATE"}


def text(work: Work) -> Iterator[str]:
    """Lay all of it out for people."""
    yield f"For the radio: {work.model.name}"
    yield "Propeller off or motor unplugged while you enter and try this."
    rows = [_row(one.handed) for one in work.found]
    headings = ["surface", ">centre", "one end", "other end", "rising pulse", "from"]
    yield from (f"  {line}" for line in table(headings, rows).splitlines())
    yield from _rigs_text(work)
    yield from _sources_text(work)
    yield from _percent_text(work)
    for one in work.found:
        yield ""
        yield from _surface_text(one, work.radio)
    for pair, found in work.pairs:
        yield ""
        yield from _pair_text(pair, found)
    yield ""
    yield from _closing_text(work)


def _row(one: Handed) -> tuple[str, ...]:
    ends = [
        f"{word} {units.us(one.ends_us[word])}, {units.deg(one.throw_deg[word])}"
        for word in one.words
    ]
    surface = one.surface
    goes = one.rising or "not known"
    return (surface.name, units.us(one.centre_us), *ends, goes, SAYS[one.source])


def _rigs_text(work: Work) -> Iterator[str]:
    for rig in work.rigs:
        begun = f"The rig that was begun on {rig.begun[:10]}"
        if rig.stands:
            yield wrapped(f"  {begun} was signed by {rig.signed}.")
        else:
            anew = "" if rig.signed is None else " ANEW"
            yield wrapped(f"  NOT SIGNED{anew}: {begun} {rig.unsigned}")
        for said in sentences(rig.left_of_model, rig.changed_of_model):
            yield wrapped(f"  NOT RIGHT YET, for the whole model: {said}")
    if not all(rig.stands for rig in work.rigs):
        yield wrapped("  Where a rig was left, it goes on with: hingeline rig")


def _sources_text(work: Work) -> Iterator[str]:
    sources = {one.handed.source for one in work.found}
    if "curve" in sources:
        yield wrapped(
            "  Computed: from the servo's measured curve and the linkage as planned; the surface "
            "itself was not measured. Measure it with: hingeline rig"
        )
    if "maker" in sources:
        yield wrapped(
            "  MAKER'S RATE: nothing of these servos was measured. The figures are a start for "
            "setting up, not a setting: ends and direction may be wrong."
        )


def _percent_text(work: Work) -> Iterator[str]:
    span = work.radio.span
    if span is None:
        yield wrapped(
            "  No per cent: how many us 100 % are differs between radios. Say it with --span and "
            "--radio-centre, and these figures are shown in per cent as well."
        )
        return
    yield wrapped(
        f"  In per cent of {units.us(span.span_us)} from {units.us(span.centre_us)}; in brackets "
        "from the surface's own centre, for a radio that counts its ends from there:"
    )
    rows = []
    for found in work.found:
        one = found.handed
        ends = (
            f"{word} {_percent(span.percent(one.ends_us[word]))} "
            f"({_percent(span.percent(one.ends_us[word], one.centre_us))})"
            for word in one.words
        )
        rows.append((one.surface.name, _percent(span.percent(one.centre_us)), *ends))
    headings = ["surface", ">centre", ">one end", ">other end"]
    yield from (f"    {line}" for line in table(headings, rows).splitlines())
    for found in work.found:
        one = found.handed
        for word, pulse in one.ends_us.items():
            if abs(span.percent(pulse)) > 100.0:
                yield wrapped(
                    f"  BEYOND: {one.surface.name} needs {word} {units.us(pulse)}, which is "
                    f"{_percent(span.percent(pulse))}. Where the radio stops at 100 %, that "
                    "throw is not had: change the holes of arm and horn."
                )


def _percent(value: float) -> str:
    return f"{round(value, 1) + 0.0:+.1f} %"


def _surface_text(found: Found, radio: Radio) -> Iterator[str]:
    one, surface = found.handed, found.handed.surface
    yield f"{surface.name} (servo {surface.servo})"
    for note in found.notes:
        yield wrapped(f"  NOT RIGHT YET: {note}")
    for remark in found.remarks:
        yield wrapped(f"  {remark}")
    for command in commands_of(surface):
        yield wrapped(
            f"  {HOW[command].capitalize()}: it must go {expected(surface, command)}. If it goes "
            "the other way, reverse its channel in the radio."
        )
    if one.rising is None:
        yield wrapped(
            "  Which way its servo turns is in no record: direction, and which end is which, "
            "are open. Look at it on the bench first."
        )
    yield from _differential_text(one)
    yield from _middle_text(one)
    if radio.centre_us is not None and radio.centre_us != one.bench_centre_us:
        yield from _off_text(one, radio.centre_us)
    yield from _sums_text(one)


def _differential_text(one: Handed) -> Iterator[str]:
    found = differential_of(one)
    if found is None:
        return
    throws = ", ".join(f"{word} {units.deg(one.throw_deg[word])}" for word in one.words)
    percent, drop = 100.0 * found.of_larger_deg, 100.0 * found.of_larger_mm
    yield wrapped(
        f"  {throws}: {found.smaller} is {percent:.0f} % of {found.larger}, or "
        f"{100.0 - percent:.0f} % less, counted in degrees; in mm of drop {drop:.0f} %, or "
        f"{100.0 - drop:.0f} % less. Radios mean either by differential: go by the throws."
    )


def _middle_text(one: Handed) -> Iterator[str]:
    stands = stands_at(one, one.middle_us)
    shown = max(SHOWN_DEG, SHOWN_PART * max(one.throw_deg.values()))
    if stands is not None and abs(stands) > shown:
        yield wrapped(
            f"  Midway between its ends, at {units.us(one.middle_us)}, it stands "
            f"{_standing(one, stands)}. Where all travel of the servo is needed, that is where "
            "it belongs while the servo is at its own centre."
        )
    at_centre = stands_at(one, one.bench_centre_us)
    if at_centre is not None and abs(at_centre) > SHOWN_DEG:
        yield wrapped(
            f"  At the servo's centre, {units.us(one.bench_centre_us)}, it stands "
            f"{_standing(one, at_centre)}, not at neutral."
        )


def _standing(one: Handed, stands_deg: float) -> str:
    size = abs(stands_deg)
    drop = chord.throw_mm(size, one.surface.chord_mm, "drop")
    word = one.words[0 if stands_deg > 0 else 1]
    return f"{word} {units.deg(size)} ({units.mm(drop)} drop)"


def _off_text(one: Handed, radio_centre_us: float) -> Iterator[str]:
    off = abs(one.arm_off_deg(radio_centre_us))
    yield wrapped(
        f"  CENTRES DIFFER: its arm was squared at {units.us(one.bench_centre_us)}; where the "
        f"radio rests, {units.us(radio_centre_us)}, the arm sits {units.deg(off)} off. Set the "
        f"channel's centre to {units.us(one.centre_us)}, or square the arm at the radio's."
    )


def _sums_text(one: Handed) -> Iterator[str]:
    for item in sums(one):
        if item.asked_deg <= item.allowed_deg:
            yield wrapped(
                f"  Both sticks at once ask for {item.word} {units.deg(item.asked_deg)}; "
                f"{units.deg(item.allowed_deg)} are allowed."
            )
            continue
        yield wrapped(
            f"  MIX: if each stick alone gives {item.word} {units.deg(item.each_deg)}, both at "
            f"once ask for {units.deg(item.asked_deg)}, and {units.deg(item.allowed_deg)} are "
            f"allowed. Give each no more than {100.0 * item.share:.0f} % of it, or one less and "
            f"the other more, and {_limit_words(item.limit_us)}."
        )


def _limit_words(limit_us: int | None) -> str:
    if limit_us is None:
        return (
            "limit the channel by what you measure there: so far out nothing was measured, so "
            "no pulse is told"
        )
    return f"limit the channel at {units.us(limit_us)}"


def _pair_text(pair: Pair, found: OneSignal) -> Iterator[str]:
    how = "opposite ways" if pair.moves == "opposite" else "together"
    yield f"{pair.left} and {pair.right}, which move {how}"
    if found.works is None:
        yield wrapped("  How their servos turn is not known, so neither is the sense of the pair.")
        return
    if not found.one_reversed:
        yield "  Both channels the same way round make them do so."
    else:
        yield wrapped(
            "  One of the two channels must be reversed against the other: in the radio, or by "
            "the other side of the arm; never by swapping a servo's wires."
        )
    yield from (f"  {line}" for line in _factors_text(pair, found).splitlines())
    if not found.works:
        yield wrapped(
            "  On one signal, by a lead that parts in two, they would go WRONG. Change one of "
            "the three on one side alone: a servo that turns the other way, the rod on the other "
            "side of the arm, or the horn on the other side of the surface."
        )
        return
    apart = (
        "how far apart the sides would stand is not known"
        if found.worst_deg is None
        else f"with the left one's pulses the right one would stand up to "
        f"{units.deg(found.worst_deg)} from its place"
    )
    yield wrapped(
        "  On one signal, by a lead that parts in two, the directions would be right; but "
        f"{apart}, and no radio can set them apart."
    )


def _factors_text(pair: Pair, found: OneSignal) -> str:
    return table(
        ["rising pulse", "servo turns", "arm points", "horn on", "surface goes"],
        [
            (name, side.servo or "not known", side.arm, side.horn, side.goes or "not known")
            for name, side in ((pair.left, found.left), (pair.right, found.right))
        ],
    )


def _closing_text(work: Work) -> Iterator[str]:
    one, centre = work.found[0].handed, work.radio.centre_us
    if centre is None:
        yield wrapped(
            f"  The radio's centre must be the bench's: for each us that they differ, the arm of "
            f"{one.surface.servo} sits {one.arm_rate_deg_per_us:.2f} deg off. State it with "
            "--radio-centre."
        )
    elif any(0.0 < abs(each.handed.arm_off_deg(centre)) < LARGE_DEG for each in work.found):
        needed = units.us(LARGE_DEG / one.arm_rate_deg_per_us)
        yield wrapped(
            f"  Another centre does not explain an arm that is {LARGE_DEG:g} deg off: for "
            f"{one.surface.servo} that would take {needed}. Look at the tooth of such an arm."
        )
    yield wrapped(
        "  Reverse by the radio or by the other side of the arm, never by swapping wires. Leads: "
        "the middle pin is plus in common servo plugs, the dark wire minus, the light one the "
        "signal (common practice, no source); look at your servo's sheet before you plug it in."
    )
    yield wrapped(
        "  When all is entered, move every stick and look at each surface, then measure the "
        "throws again with the radio. What stands here does not replace your club's rules."
    )
