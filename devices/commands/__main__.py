"""`python -m devices.commands`, the same as `canvasrule`."""

import sys

from devices.commands import main

sys.exit(main())
