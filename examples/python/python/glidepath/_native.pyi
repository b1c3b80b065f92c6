"""The compiled part. Its classes are documented here; its functions are for the package alone."""

from typing import Any, Dict, List, Optional, Sequence, Tuple

__version__: str
CAUTION: str
"""What everyone who is shown a result must be told."""

class InputError(ValueError):
    """What was given is no table of readings, no settings, or out of its range."""

class Settings:
    """Checked settings of a monitor.

    ``toml`` is the text of a settings file as ``glidepath settings`` prints it, with every key, its default and its range; what it
    leaves out is as by default. Raises :class:`InputError`, which names the key and its range. Pickles.
    """

    def __init__(self, toml: str = "") -> None: ...
    @staticmethod
    def template() -> str:
        """A file with every key, its default and its range."""
    def to_toml(self) -> str:
        """All that is set, what was left out included."""
    def to_dict(self) -> Dict[str, Any]:
        """The same as dictionaries."""
    def __eq__(self, other: object) -> bool: ...

class Ring:
    """An alarm that holds."""

    kind: str
    message: str
    priority: str
    """``low``, ``medium`` or ``high``: the words of IEC 60601-1-8."""
    cause: str
    """Why it last rang: ``new``, ``still``, ``unheeded`` or ``worse``."""
    by: str
    """What it goes by."""
    glucose_mg_dl: Optional[float]
    """The glucose that caused it, if one did."""
    rings: bool
    """Whether it rings at this moment."""
    heeded: bool
    """Whether it is acknowledged or snoozed."""
    at: Any
    """When it last rang."""

class Outcome:
    """What became of a fingerstick."""

    used: bool
    words: str
    expected_mg_dl: Optional[float]
    """What glucose was held to be before."""
    expected_sd_mg_dl: Optional[float]

class View:
    """The answers at one moment; ``None`` where something is not known. Glucose in mg/dL."""

    at: Any
    """The moment they hold for."""
    verdict: Optional[str]
    """On the reading pushed; ``None`` after a tick."""
    shown_mg_dl: Optional[float]
    """The value to show as the present one; ``None`` when the newest is too old or its age unknown."""
    shown_bound: Optional[str]
    """``at most`` or ``at least`` where only the end of the sensor's range is known."""
    shown_doubted: bool
    """Whether it is the sensor's own value and doubted, to be marked so."""
    age_s: Optional[int]
    """How long ago the newest believed reading was measured, seconds."""
    plasma_mg_dl: Optional[float]
    """The estimate of blood glucose."""
    plasma_sd_mg_dl: Optional[float]
    """Its whole standard deviation, what the calibration leaves open included."""
    rate_mg_dl_min: Optional[float]
    rate_sd_mg_dl_min: Optional[float]
    direction_mg_dl_min: Optional[float]
    """The rate to expect over the next 20 minutes: what the trend goes by."""
    trend: str
    """In words; ``not known`` when stale or vague."""
    predicted_15min_mg_dl: Optional[float]
    """What the sensor will read in a quarter of an hour."""
    predicted_30min_mg_dl: Optional[float]
    predicted_60min_mg_dl: Optional[float]
    low_probability_30min: Optional[float]
    """The probability of a reading under 70 mg/dL within half an hour, 0 to 1."""
    low_ahead_signal: Optional[float]
    """What the low-ahead alarm compares with its limit: higher is nearer to a low."""
    minutes_to_low: Optional[float]
    """Minutes until 70 mg/dL at the expected course, within the hour."""
    grade: str
    """How far the sensor is believed: ``good`` and less."""
    reasons: List[str]
    """Why it is believed less."""
    sees: bool
    """Whether silence means that all is well: fresh values and nothing against them."""
    rings: List[Ring]
    """What rings at this moment."""
    alarms: List[Ring]
    """All alarms that hold, rung or not."""

    def predicted(self, minutes: float) -> Optional[Tuple[float, float]]:
        """What the sensor will read in 5 to 120 minutes, and its standard deviation. Raises :class:`InputError` beyond."""

class Monitor:
    def __init__(self, settings: Settings) -> None: ...
    def push(self, at: int, mg_dl: float, status: str, stamp: Any) -> View: ...
    def tick(self, at: Optional[int], stamp: Any) -> View: ...
    def fingerstick(self, at: int, mg_dl: float) -> Outcome: ...
    def run(self, uptime_s: int) -> None: ...
    def set_utc_offset(self, offset_s: Optional[int]) -> None: ...
    def acknowledge(self) -> None: ...
    def snooze(self, kind_name: str, minutes: int) -> float: ...
    def sensor_started(self, at: int) -> None: ...
    def restart(self) -> None: ...
    def gain_and_offset(self) -> Tuple[float, float]: ...
    def noise_mg_dl(self) -> float: ...
    def history(self) -> List[Tuple[int, float, str]]: ...
    def state(self) -> bytes: ...
    def restore(self, state: bytes) -> None: ...
    def settings(self) -> Settings: ...

def columns(
    names: Sequence[str],
    fingersticks: bool,
    time_column: Optional[str] = None,
    date_column: Optional[str] = None,
    glucose_column: Optional[str] = None,
) -> Tuple[int, Optional[int], int, List[Tuple[str, int]]]: ...
def replay(
    trace: Dict[str, Any], sticks: Optional[Dict[str, Any]], settings: Settings, progress: Any
) -> Tuple[Dict[str, Any], Dict[str, Any], Dict[str, Any], Dict[str, Any]]: ...
def demo() -> Tuple[Dict[str, Any], Dict[str, Any]]: ...
