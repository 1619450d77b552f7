"""What the numbered names of the table mean, for people: the board needs no words.

A test holds that each name has its text, and each text its name.
"""

SHAPES = {
    "triangle": "steady rate from end to end",
    "smooth": "slow at the ends, quicker in the middle",
}
REASONS = {
    "unknown": "the board cannot tell",
    "power": (
        "power came on, or dipped so far that the board started afresh; boards that "
        "cannot tell name this after their reset button too"
    ),
    "button": "the reset button or line",
    "soft": "a program asked for it, with a reset or without",
    "watchdog": "the watchdog found the program stuck",
    "crash": "the program failed, stopped all pulses and began again",
    "pins": "its list of pins is missing, damaged or impossible: no channel can be used",
}
MOTIONS = {
    "off": "no pulses",
    "starting": "waits its turn for the first pulse",
    "hold": "holds its pulse, or is on the way to it at the slew rate",
    "sweep": "runs between two pulses",
    "steps": "runs through a list of pulses",
    "stopping": "pulses have ended; the pin is not yet released",
    "ramp": "is on the way to its pulse in the time asked for",
}
SETTINGS = {
    "usual": "nothing was ever kept: the usual settings",
    "kept": "as kept on the board",
    "damaged": "what was kept cannot be read: usual for the board, no channel for its button",
}
GUARDS = {
    "clear": "nothing happened",
    "held": "the host was silent: motion stopped, pulses held",
    "stopped": "the host stayed silent: pulses stopped",
    "rail": "the servo supply fell too low: pulses stopped",
    "button": "the button was pressed: pulses stopped",
}
# They say what value and limit mean.
ERRORS = {
    "grammar": "the line is not `id word key=integer ...`",
    "unknown_word": "no such request",
    "unknown_key": "the request has no such key",
    "missing_key": "the request lacks a key",
    "out_of_range": "the value is outside what the key can ever hold",
    "wrong_version": "value is the host's protocol version, limit the board's",
    "wrong_token": (
        "the token is not the current one: the board has started again, or another "
        "program has said hello"
    ),
    "old_id": "the id was used before for another request; limit is the last id",
    "no_such_channel": "the board has fewer channels; limit is their number",
    "not_set_up": "the channel's class and limits have not been set",
    "channel_on": "only possible while the channel is off",
    "below_limit": "the pulse is below the channel's low limit",
    "above_limit": "the pulse is above the channel's high limit",
    "class_limit": "the limit lies outside what the pulse class allows",
    "wrong_order": (
        "the value and the one it is compared with (limit) are in the wrong order or equal"
    ),
    "frame_too_short": "pulse and margin (value) do not fit in the frame (limit), in ns",
    "too_fast": "quicker than the slew allows; limit is the shortest time in ms",
    "nothing_chosen": "the request names no channel",
    "not_in_mask": "opposed_mask names a channel that mask does not",
    "rail_low": "the servo supply is too low to start anything; value and limit in mV",
    "not_kept": "the board could not write its settings; nothing has changed",
    "not_holding": "only possible while the channel holds a pulse",
    "too_long": "the line is longer than the longest allowed",
    "unprintable": "the line holds bytes other than printable ASCII",
    "no_crc": "the line does not end in eight lowercase hex digits",
    "bad_crc": "the line does not agree with its CRC-32",
    "not_integer": "the value is not an integer",
    "no_greeting": "no token: the board has not answered a hello, or has refused the token",
    "no_request": "no request with this id waits for its reply",
    "odd_reply": "the reply does not suit its request",
}
