"""`python -m assistant` is the same as `aftercare`."""

from __future__ import annotations

import sys

from assistant.doors.command_line import main

if __name__ == "__main__":
    sys.exit(main())
