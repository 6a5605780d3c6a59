"""The help page of the dashboard: every key, every mark. A line holds 66 characters."""

TEXTS: dict[str, str] = {
    "help.pour": "metal went into the next mould; for 6 s: + - date it, esc: undo",
    "help.lift": "the pot is lifted",
    "help.back_in": "the pot is back in the furnace: read its metal again",
    "help.dip": "a dip begins. Depth and stirring are asked once; D asks again",
    "help.profile": "follow the alloy's profile; go on; end a hold; x: stop it",
    "help.not_now": "not now, to the call that is up",
    "help.done": "done, to a call that no probe can see; or: record the held mark now",
    "help.power": "how the knob or burner stands: 0 off, 1 low, 2 high",
    "help.acknowledge": "acknowledge the first alarm on the list",
    "help.silence": "silence for 30 s; what is not acknowledged sounds again",
    "help.melt": "start a melt, or end the one that runs",
    "help.unit_and_furnace": "unit: °C, °F, K; the next furnace, where there are several",
    "help.quit": "leave the dashboard; the melt goes on",
    "help.mark.metal": "the metal, measured",
    "help.mark.estimate": "the metal as estimated from the chamber, not measured",
    "help.mark.dip": "in the trace: what a dip found",
    "help.mark.coast": "where the metal peaks with the power off from now on",
    "help.mark.band": "the trace to come: nine times in ten it stays inside",
    "help.mark.window": "on the scale: the pour window, in the pot",
    "help.foot": "Shown in {unit_mark}. Any key closes this; esc does nothing else",
}
