"""A result as JSON for other programs: RFC 8259 has no NaN and no infinity, so what is not known is null."""

from __future__ import annotations

import json
import math
from typing import Any


def json_text(result: Any) -> str:
    """Indented JSON, letters as they are.

    Parameters
    ----------
    result : dict, list, ...
        Of what `json` writes.
    """
    return json.dumps(_finite(result), indent=2, ensure_ascii=False, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _finite(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
