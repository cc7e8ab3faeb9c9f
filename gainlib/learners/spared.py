"""What libraries of Jupyter open where it is there, and do without: whoever imports this spares a process that second.

They check addresses of a kind that no message of Jupyter's holds, and make a command of a library.
"""

from __future__ import annotations

import sys

NOT_NEEDED = ("rfc3987_syntax", "httpx._main")

for _name in NOT_NEEDED:
    sys.modules[_name] = None  # type: ignore[assignment]
