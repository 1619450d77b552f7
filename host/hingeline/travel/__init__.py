"""Travel curves: which pulses to send, what the gauge said, what the servo does with a pulse.

`schedule` lists the pulses, `reading` holds what was read, `fit` turns readings into a
`curve.TravelCurve`, `matching` compares two sides.
"""
