"""What was learned of one furnace, frozen. Numbers with their covariance; made by pourcall/furnace/fit.py.

A melt uses the model it began with to its end; a newer one waits for the next melt. Kept with its history: a model is
never altered, only followed by one of a higher version.
"""

import hashlib
import math

import msgspec

MODEL_SCHEMA = 1
# Natural logarithms of these are what is learned: every one is positive and known to a factor.
PARAMETERS = (
    "power_w",  # useful power at "high": what stays in the furnace
    "low_share",  # of it at "low"
    "wall_j_per_k",  # element, hot face and what of the lining follows within a melt
    "loss_w_per_k",  # wall to room, lining included
    "exchange_m2",  # wall to pot, black surface of this size
    "contact_w_per_k",  # pot to one kilogram of liquid metal
    "limit_c",  # where the furnace's own controller (the panel) throttles the element
    "pot_j_per_k",
    "flame_share",  # of the power that strikes the pot itself; next to nothing in an electric furnace
)


class OwnCoast(msgspec.Struct, frozen=True):
    """How far the metal ran on once, after the power went off. Of the metal, the sheath's lag taken off."""

    melt: str
    alloy: str
    cut_c: float
    rate_c_per_min: float  # as it rose at the cut
    rise_c: float  # from the cut to the peak
    share: float = 1.0  # of full power, until the cut
    sd_c: float = 0.0  # beyond what every coast has, as of one told by dips


class FurnaceModel(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One furnace as learned. `mean` and `cov` are of the logarithms of PARAMETERS, in their order."""

    furnace: str
    version: int  # counts up for one furnace; 0: nothing learned yet, only what is usual
    schema: int = MODEL_SCHEMA
    learned_utc_s: float = 0.0
    mean: tuple[float, ...]
    cov: tuple[tuple[float, ...], ...]
    sheath_s: float = 4.2  # lag of the probe the traces came from, first order
    melts: tuple[str, ...] = ()  # learned from these
    points: int = 0
    residual_c: float = 0.0  # root mean square between traces and model
    power_known: bool = False  # power_w came from the settings or a meter, and holds for energy as well
    panel_offset_c: float | None = None  # metal less panel while both stood still; None: never compared
    panel_offset_u_c: float | None = None  # expanded, k = 2
    note: str = ""
    coasts: tuple[OwnCoast, ...] = ()  # of the latest melts, oldest first

    def __post_init__(self) -> None:
        size = len(PARAMETERS)
        if self.schema != MODEL_SCHEMA:
            raise ValueError(f"a furnace model of schema {self.schema}; this program reads {MODEL_SCHEMA}")
        if len(self.mean) != size or len(self.cov) != size or any(len(row) != size for row in self.cov):
            raise ValueError(f"a furnace model has {size} parameters, this one {len(self.mean)}")
        if not all(map(math.isfinite, self.mean)) or not all(math.isfinite(v) for row in self.cov for v in row):
            raise ValueError("a furnace model must be finite")
        if any(self.cov[k][k] < 0.0 for k in range(size)):
            raise ValueError("a variance of the furnace model is negative")

    def value(self, name: str) -> float:
        """A parameter in its own unit."""
        return math.exp(self.mean[PARAMETERS.index(name)])

    def spread(self, name: str) -> float:
        """Its relative standard uncertainty (0.1: known to 10 %)."""
        at = PARAMETERS.index(name)
        return math.sqrt(self.cov[at][at])

    @property
    def hash(self) -> str:
        """Sixteen hex digits that stand for exactly this model, for the journal."""
        return hashlib.sha256(msgspec.json.encode(self)).hexdigest()[:16]
