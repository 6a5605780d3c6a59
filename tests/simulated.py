"""The settings a person would have written for a simulated shop: its whole engine config, sheath by sheath."""

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.sim.shop import Scenario

RULE_OF_SHEATH = {
    "mi_0.5": "thin",
    "mi_1.0": "thin",
    "mi_1.5": "thin",
    "mi_3.0": "mineral_3mm",
    "mi_4.5": "mineral_6mm",
    "mi_6.0": "mineral_6mm",
    "mi_8.0": "mineral_6mm",
    "grounded_3.0": "mineral_3mm",
    "grounded_4.5": "mineral_3mm",
    "grounded_6.0": "mineral_6mm",
    "tube_12": "ceramic_tube",
    "tube_20": "ceramic_tube",
}


def config_of(scenario: Scenario) -> EngineConfig:
    """The settings a person would have written for this simulated shop."""
    chip = {"max31855": "max31855", "emf": "emf", "its90": ""}[scenario.probes[0].chip]
    return EngineConfig(
        furnace="small",
        kind=scenario.furnace_kind,
        rating_c=scenario.furnace.rating_c,
        boards=(BoardConfig(name="bench", chip=chip, sample_s=1.0 / scenario.rate_hz),),
        probes=tuple(
            ProbeConfig(
                name=p.name,
                board="bench",
                channel=p.channel,
                tc_type=p.tc_type,
                place=p.place,
                sheath=RULE_OF_SHEATH[p.sheath],
                rating_c=1260.0,
            )
            for p in scenario.probes
        ),
    )
