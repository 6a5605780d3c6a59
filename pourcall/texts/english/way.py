"""What the metal loses on the way from the pot to the mould's lip."""

TEXTS: dict[str, str] = {
    "way.loss": "loss {loss_difference_c}: {parts:, } ({how})",
    "way.open": "{open_s} in the open {walk_difference_c}",
    "way.ladle": "ladle {ladle_difference_c}",
    "way.stream": "stream {stream_difference_c}",
    "way.computed": "computed, ±{within_share}",
    "way.measured": "{rate_c_per_min} measured in this shop",
    "way.stated": "loss {loss_difference_c} as stated",
    "way.stated_sooner": "{stated}, less {unwaited_difference_c} for waiting: fewer moulds are poured before it now",
}
