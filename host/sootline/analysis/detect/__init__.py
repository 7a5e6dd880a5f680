"""The detectors: one alarm a file, listed here by hand in the order they run: causes before consequences."""

from sootline.analysis.detect.air_pressure import AirPressure
from sootline.analysis.detect.base import Detector
from sootline.analysis.detect.flame_loss import FlameLoss
from sootline.analysis.detect.float_chatter import FloatChatter
from sootline.analysis.detect.freeze_risk import FreezeRisk
from sootline.analysis.detect.heat_without_call import HeatWithoutCall
from sootline.analysis.detect.heater_stuck_on import HeaterStuckOn
from sootline.analysis.detect.ignition_delayed import IgnitionDelayed
from sootline.analysis.detect.ignition_failure import IgnitionFailure
from sootline.analysis.detect.leak import Leak
from sootline.analysis.detect.limit_open import LimitOpen
from sootline.analysis.detect.lockout import Lockout
from sootline.analysis.detect.no_heat import NoHeat
from sootline.analysis.detect.oil_overtemperature import OilOvertemperature
from sootline.analysis.detect.oil_use_high import OilUseHigh
from sootline.analysis.detect.overfiring import Overfiring
from sootline.analysis.detect.preheat_slow import PreheatSlow
from sootline.analysis.detect.preheat_stalled import PreheatStalled
from sootline.analysis.detect.pump_overrun import PumpOverrun
from sootline.analysis.detect.refill_overdue import RefillOverdue
from sootline.analysis.detect.refill_slowing import RefillSlowing
from sootline.analysis.detect.refill_timeout import RefillTimeout
from sootline.analysis.detect.refill_without_burning import RefillWithoutBurning
from sootline.analysis.detect.sensor_fault import SensorFault
from sootline.analysis.detect.service_due import ServiceDue
from sootline.analysis.detect.short_cycling import ShortCycling
from sootline.analysis.detect.stack_high import StackHigh
from sootline.analysis.detect.stack_low import StackLow
from sootline.analysis.detect.stack_rising import StackRising
from sootline.analysis.detect.stack_step import StackStep
from sootline.analysis.detect.supply_low import SupplyLow

DETECTORS: tuple[type[Detector], ...] = (
    SensorFault,
    PumpOverrun,
    Leak,
    RefillTimeout,
    RefillOverdue,
    RefillSlowing,
    RefillWithoutBurning,
    FloatChatter,
    OilUseHigh,
    AirPressure,
    PreheatSlow,
    PreheatStalled,
    HeaterStuckOn,
    OilOvertemperature,
    LimitOpen,
    Lockout,
    IgnitionFailure,
    IgnitionDelayed,
    FlameLoss,
    NoHeat,
    HeatWithoutCall,
    StackHigh,
    StackStep,
    StackRising,
    StackLow,
    ShortCycling,
    Overfiring,
    SupplyLow,
    FreezeRisk,
    ServiceDue,
)
