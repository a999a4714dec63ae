"""Case and protocol files of released formats, saved once: each loads for ever, and means what it meant."""

from datetime import date
from pathlib import Path

from handsel.data.load_case import load_case
from handsel.data.load_protocol import load_protocol
from handsel.inspection.case import GroupAcceptance

HERE = Path(__file__).parent


def test_case_1_loads_as_it_did() -> None:
    case = load_case(HERE / "case_1_good_hand.toml")
    assert (case.hand.code, case.hand.serial, case.hand.design) == ("R-014", "H-0031", "linden")
    assert (case.hand.scale_ratio, case.hand.side, case.hand.hold_point) == (1.0, "left", "finished")
    assert case.hand.latex_sensitive is True
    assert case.hand.target_rest_angle_deg is None  # left out in the file
    assert (case.by, case.on) == ("inspector 2", date(2026, 11, 21))
    assert case.accepted[2] == GroupAcceptance(group="strung")
    seen = {(o.of, o.place): o for o in case.observations}
    assert seen["worked-rest-angle", ""].readings == (35.8, 36.4, 36.1)
    assert (seen["worked-rest-angle", ""].unit, seen["worked-rest-angle", ""].method) == ("deg", "photo")
    assert seen["finger-cords-taut", "ring"].answer == "taut"
    assert (seen["thumb-pin-in-line", ""].value, seen["thumb-pin-in-line", ""].u) == (0.5, 0.3)
    assert len(seen) == 25


def test_protocol_1_loads_as_it_did() -> None:
    protocol = load_protocol(HERE / "protocol_1_two_checks.toml")
    assert protocol.sha256 == "71934f6341a79148b4d76ff6cd3a0f301cb03ddf422cca6ecbc8a5b46fa28b50"
    free, gap = protocol.characteristics
    assert (free.hold_point, free.per, free.observable("index")) == ("first", "digit", "free_index")
    assert free.prior_nonconforming == 0.05  # the protocol's own, as the characteristic gives none
    assert free.substitute is not None
    assert free.substitute.how == "Pull it."
    assert gap.counts_only_if == ("free",)
    assert gap.rule.limits.high == 2.0
    assert gap.rule.limits.low is None
    assert (protocol.steps[0].hides, protocol.steps[0].undo) == (("free",), "ease")
    assert protocol.reworks[0].undoes_here == ("free",)
    assert protocol.accept("critical") == 0.95
