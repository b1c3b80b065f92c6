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
    """Why it last rang: ``new``, ``repeated``, ``escalated`` or ``worse``."""
    by: str
    """What it goes by."""
    glucose_mg_dl: Optional[float]
    """The glucose that caused it, if one did."""
    rings: bool
    """Whether it rings at this moment."""
    acknowledged: bool
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
    is_monitoring: bool
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
    def set_uptime(self, uptime_s: int) -> None: ...
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

class ReviewRecord:
    """The sums of reviewed records: of one person, or of any number added up with ``+`` or :meth:`merged`.

    All that is kept are whole numbers, so that any order and any grouping of adding gives the same bits, and equal records equal
    bytes. They are wide enough for 4,000 million readings. Each record that went in is closed where it ends: episodes, swings and
    days do not go on from one to the next, so give :func:`glidepath.review` all readings of a person at once. Adding a record
    twice counts it twice.

    Memory: 0.2 MB, however many went in. Pickles, as bytes of some 20 kB for a week of one person and 0.3 MB at most.
    """

    def __init__(self) -> None:
        """No record yet."""
    records: int
    """How many records went in."""
    def figures(self) -> Dict[str, Any]:
        """As :attr:`glidepath.Review.figures`, over all readings of all records; ``days`` is the sum of theirs, and spread between people is
        part of the standard deviation."""
    def day_profile(self) -> List[Dict[str, Any]]:
        """As :attr:`glidepath.Review.day_profile`, row by row."""
    @staticmethod
    def merged(records: Sequence["ReviewRecord"]) -> "ReviewRecord":
        """All of them in one."""
    def __add__(self, other: "ReviewRecord") -> "ReviewRecord": ...
    def __eq__(self, other: object) -> bool: ...
    def to_bytes(self) -> bytes:
        """The record as bytes: the same on every machine."""
    @staticmethod
    def from_bytes(bytes: bytes) -> "ReviewRecord":
        """A record from :meth:`to_bytes`. Raises :class:`InputError` for bytes that are none, or of another version."""

class AccuracyRecord:
    """The pairs of sensor and reference of any number of people, put together with ``+`` or :meth:`merged`.

    Sums of differences are not whole numbers, and would depend on the order of adding. So the pairs themselves are kept, person
    by person, and figures are worked out in the order of the people's names: any order and any grouping gives the same bits, and
    equal records equal bytes. The same person twice with the same pairs counts once; with others it is an :class:`InputError`.

    Memory: 24 bytes a pair and some 100 a person. Pickles, as 16 bytes a pair and 8 a person beside the name.
    """

    def __init__(self) -> None:
        """Nobody yet."""
    people: List[str]
    """Whose pairs these are."""
    pairs: int
    """How many pairs."""
    def figures(self, cut_mg_dl: float = 100.0) -> Dict[str, Any]:
        """The figures of all pairs: ``mard_percent``, ``bias_mg_dl`` with intervals, agreement rates, error grids. With four people
        or more each person counts as one draw for the intervals, with fewer each day."""
    def by_person(self, cut_mg_dl: float = 100.0) -> List[Dict[str, Any]]:
        """The same for each person apart, in the order of their names."""
    @staticmethod
    def merged(records: Sequence["AccuracyRecord"]) -> "AccuracyRecord":
        """All of them in one."""
    def __add__(self, other: "AccuracyRecord") -> "AccuracyRecord": ...
    def __eq__(self, other: object) -> bool: ...
    def to_bytes(self) -> bytes:
        """The record as bytes: the same on every machine."""
    @staticmethod
    def from_bytes(bytes: bytes) -> "AccuracyRecord":
        """A record from :meth:`to_bytes`. Raises :class:`InputError` for bytes that are none, or of another version."""

def review(trace: Dict[str, Any], progress: Any) -> Tuple[Dict[str, Any], ReviewRecord]: ...
def accuracy(
    trace: Dict[str, Any],
    reference: Optional[Dict[str, Any]],
    person: str,
    skip_hours: float,
    window_min: Optional[float],
    interpolate: bool,
    cut_mg_dl: float,
    progress: Any,
) -> Tuple[Dict[str, Any], Dict[str, Any], AccuracyRecord]: ...
def simulate(
    seed: int,
    days: int,
    interval_min: int,
    life: str,
    sensor: str,
    noise_scale: float,
    faults: bool,
    fingersticks_per_day: int,
) -> Tuple[Dict[str, Any], Dict[str, Any], Dict[str, Any]]: ...
def smooth(trace: Dict[str, Any], method: str, parameters: Dict[str, float]) -> Dict[str, Any]: ...
def rank_invented(
    own: List[Tuple[str, Any, float, float]],
    people: int,
    days: int,
    interval_min: int,
    first_seed: int,
    life: str,
    sensor: str,
    noise_scale: float,
    faults: bool,
    only: List[str],
    progress: Any,
) -> Dict[str, Any]: ...
def rank_recorded(
    own: List[Tuple[str, Any, float, float]], traces: List[Tuple[str, Dict[str, Any]]], progress: Any
) -> Dict[str, Any]: ...
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
