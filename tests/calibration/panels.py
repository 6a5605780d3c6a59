"""Temperatures held by panels, and cups of another law than the simulator's: what an arrest must be told from.

A hold: two bodies (chamber and metal without a change of state) under an on/off, PID or bimetal regulator; constants of
small electric furnaces: common practice, no source. A cup: one body that loses heat by convection and radiation
(Stefan-Boltzmann), undercools, and springs back as fast as crystals grow (heat released in proportion to the
undercooling). Latent and specific heats: handbook values from memory.
"""

import random
from typing import NamedTuple

from pourcall.calibration.correction import EmfTrace
from pourcall.thermometry.thermocouple import emf_uv

KINDS = ("on_off", "pid", "thermostat")
ENDINGS = ("off", "up", "stops")


class Hold(NamedTuple):
    """One hold. from_above: the furnace cooled to it, else it was heated to it. set_c: of the panel."""

    kind: str
    seed: int
    set_c: float = 413.0
    from_above: bool = True
    ending: str = "off"
    hold_s: float = 720.0


def held(hold: Hold) -> EmfTrace:
    """What a probe in the metal shows of a hold, once a second."""
    rng = random.Random(f"{hold}")
    chamber_j_per_k, metal_j_per_k = rng.uniform(2500.0, 8000.0), rng.uniform(300.0, 2000.0)
    most_w, loss_w_per_k, between_w_per_k = rng.uniform(1500, 3000), rng.uniform(1.0, 2.5), rng.uniform(3.0, 15.0)
    noise_c, probe_s = rng.uniform(0.05, 0.3), rng.uniform(1.0, 5.0)
    half_c = {"on_off": rng.uniform(0.3, 2.0), "thermostat": rng.uniform(2.0, 6.0), "pid": 0.0}[hold.kind]
    band_c, integral_s, cycle_s = rng.uniform(8.0, 30.0), rng.uniform(100.0, 400.0), rng.choice((2.0, 10.0, 20.0))
    start_c = hold.set_c + (rng.uniform(35.0, 60.0) if hold.from_above else -rng.uniform(60.0, 100.0))
    chamber_c, metal_c, probe_c, sensor_c = start_c, start_c, start_c, start_c
    integral, on, share, set_c, stood_s, length_s = 0.0, not hold.from_above, 0.0, hold.set_c, 0.0, 0.0
    times_s: list[float] = []
    emfs: list[float | None] = []
    while length_s < 7200.0:
        sensor_c += (chamber_c - sensor_c) / (20.0 if hold.kind == "thermostat" else 5.0)
        error_c = set_c - sensor_c
        if hold.kind == "pid":
            if abs(error_c) < band_c:
                integral = min(1.0, max(0.0, integral + error_c / band_c / integral_s))
            if length_s % cycle_s == 0.0:
                share = min(1.0, max(0.0, error_c / band_c + integral))
            power_w = most_w if length_s % cycle_s < share * cycle_s else 0.0
        else:
            on = error_c > -half_c if on else error_c > half_c
            power_w = most_w if on else 0.0
        if stood_s > hold.hold_s and hold.ending == "off":
            power_w = 0.0
        flow_w = between_w_per_k * (chamber_c - metal_c)
        chamber_c += (power_w - loss_w_per_k * (chamber_c - 20.0) - flow_w) / chamber_j_per_k
        metal_c += flow_w / metal_j_per_k
        probe_c += (metal_c - probe_c) / probe_s
        times_s.append(length_s)
        emfs.append(emf_uv("K", probe_c + rng.gauss(0.0, noise_c)))
        length_s += 1.0
        if stood_s > 0.0 or abs(metal_c - hold.set_c) < 2.0:
            stood_s += 1.0
        if stood_s > hold.hold_s:
            if hold.ending == "stops":
                break
            set_c = hold.set_c + (40.0 if hold.ending == "up" else 0.0)
            if abs(metal_c - hold.set_c) > 15.0 or stood_s > hold.hold_s + 900.0:
                break
    return EmfTrace(times_s, emfs, 24.0)


# freezes at (ITS-90), latent heat J/kg, specific heats solid and liquid J/(kg K), most undercooling drawn, degC
METALS = {
    "tin": (231.928, 59.2e3, 240.0, 250.0, 8.0),
    "lead": (327.462, 23.0e3, 140.0, 147.0, 1.0),
    "zinc": (419.527, 112.0e3, 450.0, 480.0, 1.0),
    "aluminium": (660.323, 397.0e3, 1100.0, 1177.0, 1.5),
    "silver": (961.78, 104.7e3, 290.0, 310.0, 2.0),
    "copper": (1084.62, 208.7e3, 480.0, 494.0, 2.0),
}


class Sample(NamedTuple):
    """One cup cooling in the air: trace, and what should be added there."""

    trace: EmfTrace
    correction_uv: float


def cup(metal: str, seed: int, *, lowered_c: float = 0.0, gain: float | None = None) -> Sample:
    """150 to 300 g in a small cup of steel or graphite; lowered_c: what dissolved gas takes off its freezing point."""
    rng = random.Random(f"{metal} {seed} {lowered_c}")
    freezes_c, latent, solid, liquid, most_c = METALS[metal]
    freezes_c += rng.uniform(-0.8, 0.8) - lowered_c  # 99.9 %
    gain = rng.uniform(0.9965, 1.0035) if gain is None else gain
    offset_uv, noise_c, probe_s = rng.uniform(-12.0, 12.0), rng.uniform(0.05, 0.25), rng.uniform(0.8, 2.0)
    mass_kg, cup_j_per_k = rng.uniform(0.15, 0.3), rng.uniform(20.0, 60.0)
    area_m2, film_w, grows_w_per_k = rng.uniform(0.005, 0.010), rng.uniform(5.0, 15.0), rng.uniform(200.0, 800.0)
    undercools_c = rng.uniform(0.0, most_c)
    metal_c = probe_c = freezes_c + rng.uniform(35.0, 60.0)
    frozen_j, whole_j, nucleated = 0.0, latent * mass_kg, False
    times_s: list[float] = []
    emfs: list[float | None] = []
    at_s, dt_s = 0.0, 0.25
    while at_s < 3600.0 and not (frozen_j >= whole_j and metal_c < freezes_c - 20.0):
        loss_w = area_m2 * (film_w * (metal_c - 20.0) + 0.3 * 5.67e-8 * ((metal_c + 273.15) ** 4 - 293.15**4))
        nucleated = nucleated or metal_c <= freezes_c - undercools_c
        frees_w = 0.0
        heat_j_per_k = mass_kg * (solid if frozen_j >= whole_j else liquid) + cup_j_per_k
        if nucleated and frozen_j < whole_j and metal_c < freezes_c:
            most_w = min(whole_j - frozen_j, heat_j_per_k * (freezes_c - metal_c)) / dt_s + loss_w
            frees_w = min(grows_w_per_k * (freezes_c - metal_c) + 0.9 * loss_w, most_w)
        frozen_j += frees_w * dt_s
        metal_c += (frees_w - loss_w) * dt_s / heat_j_per_k
        probe_c += (metal_c - probe_c) * dt_s / probe_s
        at_s += dt_s
        if at_s % 1.0 == 0.0:
            times_s.append(at_s)
            emfs.append(gain * emf_uv("K", probe_c + rng.gauss(0.0, noise_c)) + offset_uv)
    true_uv = emf_uv("K", freezes_c)
    return Sample(EmfTrace(times_s, emfs, 24.0), true_uv - gain * true_uv - offset_uv)
