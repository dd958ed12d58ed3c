"""A finding as good as any."""

from meter.findings import Finding


def a_finding(first_slot, kind="over", **known):
    values = {
        "kind": kind,
        "first_slot": first_slot,
        "last_slot": first_slot + 5,
        "at_slot": first_slot,
        "at_s": first_slot / 10.0,
        "pass_number": 1,
        "severity": 10.0,
        "is_open": False,
        "text": f"{kind} at {first_slot}",
    }
    return Finding(**(values | known))
