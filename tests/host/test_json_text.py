"""What is printed for other programs is JSON by RFC 8259, which has no NaN and no infinity."""

import json
import math
import re
from pathlib import Path

import bainwright
from bainwright.core.json_text import json_text


def test_what_is_not_known_is_null() -> None:
    """Oracle: the reader of the standard library, without the constants that it takes beyond the standard."""

    def refuse(constant: str) -> None:
        raise AssertionError(constant)

    told = json_text({"lead_k": math.nan, "each": [1.5, -math.inf, {"so": (math.inf, "ö")}], "none": None})
    assert json.loads(told, parse_constant=refuse) == {"lead_k": None, "each": [1.5, None, {"so": [None, "ö"]}],
                                                       "none": None}
    assert "ö" in told


def test_every_result_goes_through_it() -> None:
    host = Path(bainwright.__file__).parent
    beside = [str(path.relative_to(host)) for path in host.rglob("*.py") if "board_scripts" not in path.parts
              and re.search(r"(say|echo|print)\(json\.dumps", path.read_text())]
    assert beside == []
