"""What is asked before a command counts (contract/questions.py)."""

TEXTS: dict[str, str] = {
    "question.pour_not_called": "No pour was called (melt {melt_state}). Was it poured all the same?",
    "question.lift_not_called": "No pour was called (melt {melt_state}). Was the pot lifted all the same?",
    "question.pour_call_ended": "The call to pour {mould} ended {ago_s} before: {why}. Was it poured all the same?",
    "question.lift_call_ended": "The call to pour {mould} ended {ago_s} before: {why}. Was the pot lifted all the same?",
    "question.frozen": "It would arrive at {lip_c}, solid below {solidus_c}. Was it poured all the same?",
    "question.part_frozen": "It would arrive at {lip_c}, part frozen below {liquidus_c}. Was it poured all the same?",
    "question.long_out": "The pot was lifted {out_min} before. Was it poured so late?",
    "question.off_first": "{heat_off:cap} now. {asked}",
    "question.above_limit": "{temp_c} is above the limit of the {whose}, {limit_c:highest}. Did the meter read that?",
    "question.above_rating": "{temp_c} is above what the furnace is rated for, {limit_c:highest}. Did the meter read that?",
    "question.out_of_reach": "{temp_c} is out of reach of {before_c}, read {before_s} before. Did the meter read that?",
    "question.below_any_shop": "{temp_c} is colder than any shop that melts metal. Did the meter read that?",
    "question.below_solidus": "{temp_c} is below the solidus, {solidus_c}, and the metal counts as liquid. Did the meter read that?",
    "question.poured_twice": "{mould} has its metal already. Was it poured a second time?",
    "question.more_than_in": "{out_kg} came out, moulds included, of {in_kg} that went in. Was it so much?",
    "question.more_than_weighed": "{out_kg} came out, moulds included; {in_kg} was weighed in, and an addition was not weighed. "
    "Was it so much?",
    "question.sure": 'If it was so, say it again with --sure (a program sends "sure": true)',
    "question.yes_no": "{question} [y/N] ",
    "question.not_done": "not done, nothing recorded",
}
