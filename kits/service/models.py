"""What the service lead keeps: arrivals, test sheets, quotes, and what the shop has stated of places in its pumps."""

from __future__ import annotations

from kits.service.arrival_models import Arrival as Arrival
from kits.service.arrival_models import FluidRule as FluidRule
from kits.service.arrival_models import Photo as Photo
from kits.service.arrival_models import SignRule as SignRule
from kits.service.arrival_models import Waiver as Waiver
from kits.service.bench_models import Tightening as Tightening
from kits.service.bench_models import WearLimit as WearLimit
from kits.service.quote_models import GoAhead as GoAhead
from kits.service.quote_models import Quote as Quote
from kits.service.quote_models import QuoteLine as QuoteLine
from kits.service.quote_models import WorkHours as WorkHours
from kits.service.tested_models import Gauge as Gauge
from kits.service.tested_models import GaugeReading as GaugeReading
from kits.service.tested_models import PastFinding as PastFinding
from kits.service.tested_models import PastStrip as PastStrip
from kits.service.tested_models import PastVerdict as PastVerdict
from kits.service.tested_models import PumpLimit as PumpLimit
from kits.service.tested_models import PumpTest as PumpTest
