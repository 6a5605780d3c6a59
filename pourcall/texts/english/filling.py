"""Whether the metal fills the mould and feeds it."""

TEXTS: dict[str, str] = {
    "filling.open": "there {thinnest_mm} stays open {open_s:1}; set by {bound} ({basis})",
    "filling.by_margin": "liquidus plus margin",
    "filling.by_flow": "{flow_mm} of flow",
    "filling.fitted": "fitted to this shop",
    "filling.not_fitted": "not fitted: good to a factor of two in length",
    "filling.too_fast": "metal reaches {speed:1} m/s in the sprue: widen runner and gates until it enters below {gate} m/s (any fall over {drop_mm} is faster)",
    "filling.choke": "choke {choke:0} mm², gates together at least {gates:0} mm²",
    "filling.alike": "filling and feeding as {mould}",
    "filling.from": "fills from {lowest_c}: {why}",
    "filling.no_head": "{head_mm} of head does not push metal into a section of {thinnest_mm}: surface tension needs {needed_mm:0}, and no temperature changes that",
    "filling.no_head.remedy": "Raise the sprue, or thicken or vent the section",
    "filling.head": "needs at least {head_mm:0} of head above the section (surface tension)",
    "filling.runs": "runs about {flow} mm in the thinnest section at mid-window",
    "filling.solid": "thickest section solid after about {solid} s in dry sand (±50 %); a riser that outlasts it is {riser_mm:0} wide and high",
}
