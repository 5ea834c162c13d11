/* Codes of an explanation. */
#include "findings/explain_codes.h"

#define WHERE "direction orders in_flight request_bytes "
#define LIMIT                                                                        \
	WHERE "culprits share_low share_high seconds now_bytes_per_second "          \
	      "without_low_bytes_per_second without_high_bytes_per_second rests_on " \
	      "next_culprits "                                                       \
	      "next_share_low next_share_high"

#define CARD_KEYS "direction order card_bytes_per_second seconds_per_byte card_seconds_per_byte"

const struct finding_code explain_codes[] = {
	[EXPLAIN_LIMITED] = { "limits", FINDING_PLAIN, true,
		"what limits a direction, how much of a request's time it takes, and the rate "
		"without it",
		LIMIT },
	[EXPLAIN_ONE_OF] = { "one-of", FINDING_PLAIN, true,
		"the same where several causes fit alike, and what would tell them apart", LIMIT },
	[EXPLAIN_NOT_SHOWN] = { "not-shown", FINDING_CAUTION, true,
		"what limits can't be said; why: link-beaten, card-beaten, too-few-sizes, "
		"no-shape, not-stored, impossible-rate, phases-against",
		WHERE "why" },
	[EXPLAIN_NOTHING] = { "nothing", FINDING_CAUTION, true, "no pass of the record counts",
		NULL },
	[EXPLAIN_PHASE] = { "phases", FINDING_PLAIN, false,
		"a part of a request's time by its phases on the bus or in the model: fetch, "
		"refuse, store, not-ready, host or link; how much of it grows with the size, and "
		"what working on data while data move could save; how much of it may be waiting "
		"for frames of "
		"the bus",
		"direction order request_bytes part seconds share fixed_seconds seconds_per_byte "
		"gain_seconds frames_seconds" },
	[EXPLAIN_PHASE_RULES_OUT] = { "phases-rule-out", FINDING_PLAIN, false,
		"causes that the rates allow and the phases do not",
		"direction order request_bytes causes" },
	[EXPLAIN_PHASE_AGAINST] = { "phases-against", FINDING_CAUTION, false,
		"the phases contradict the cause that the rates seem to show",
		"direction order request_bytes part seconds" },
	[EXPLAIN_PHASE_CARD] = { "phases-card", FINDING_PLAIN, false,
		"the phases fit the card's rate as given", CARD_KEYS },
	[EXPLAIN_PHASE_CARD_AGAINST] = { "phases-against-card", FINDING_CAUTION, false,
		"the phases show more work for each byte than the card's rate as given needs",
		CARD_KEYS },
	[EXPLAIN_LINK_BEATEN] = { "above-link", FINDING_CAUTION, false,
		"rates above what the link is said to carry", "of" },
	[EXPLAIN_LINK_IMPOSSIBLE] = { "link-impossible", FINDING_CAUTION, false,
		"the link's rate as given is more than such a link can carry", "of" },
	[EXPLAIN_CARD_IMPOSSIBLE] = { "card-impossible", FINDING_CAUTION, false,
		"the card's rate as given is more than its bus can carry", "of" },
	[EXPLAIN_CARD_BEATEN] = { "above-card", FINDING_CAUTION, false,
		"rates above what the card is said to do", "of" },
	[EXPLAIN_CARD_IS_BUS] = { "card-is-bus", FINDING_CAUTION, false,
		"the card's rate is only what its bus can carry", "of" },
	[EXPLAIN_FEW_SIZES] = { "few-sizes", FINDING_CAUTION, false,
		"too few request sizes for a line", "of" },
	[EXPLAIN_NARROW] = { "narrow-sizes", FINDING_CAUTION, false,
		"the request sizes lie too near each other", "of" },
	[EXPLAIN_RATE_UNSURE] = { "rate-unsure", FINDING_CAUTION, false,
		"the interval of the streaming rate is too wide to rely on", "of" },
	[EXPLAIN_FIXED_UNSURE] = { "fixed-cost-unsure", FINDING_CAUTION, false,
		"the interval of the fixed cost reaches 0", "of" },
	[EXPLAIN_PIECES] = { "coarse-overlap", FINDING_PLAIN, false,
		"link and card overlap in pieces, below whose size they can't", "of" },
	[EXPLAIN_BENDS] = { "line-bends", FINDING_PLAIN, false,
		"beyond some size something else sets the pace", "of" },
	[EXPLAIN_MISFIT] = { "line-misfit", FINDING_CAUTION, false,
		"no line describes the times within their scatter", "of" },
	[EXPLAIN_DRIFT] = { "drift", FINDING_CAUTION, false,
		"requests took longer, or less, at the end of the run", "of" },
	[EXPLAIN_CLINGS] = { "neighbours-alike", FINDING_CAUTION, false,
		"passes resemble those before and after them", "of" },
	[EXPLAIN_WRITES_BEHIND] = { "acknowledged-early", FINDING_CAUTION, false,
		"writes are acknowledged well before they are stored", "of" },
	[EXPLAIN_SPLIT] = { "split", FINDING_PLAIN, false, "the kernel splits large requests",
		"of" },
	[EXPLAIN_LEFT_OUT] = { "passes-left-out", FINDING_CAUTION, false,
		"passes that do not count", "of" },
	[EXPLAIN_MIX_WORST] = { "as-observed-most", FINDING_PLAIN, false,
		"the observed size on which most of the time goes",
		"direction request_bytes time_share" },
	[EXPLAIN_MIX_FLUSHES] = { "as-observed-flushes", FINDING_PLAIN, false,
		"the observed flushes take more of the time than any size, beyond storing what was "
		"written",
		"time_share" },
	[EXPLAIN_MIX_ACKNOWLEDGED] = { "as-observed-acknowledged", FINDING_CAUTION, false,
		"the time of observed writes is only that until they are acknowledged", NULL },
	[EXPLAIN_MIX_CHECK] = { "as-observed-check", FINDING_PLAIN, false,
		"the predicted time beside the one in which requests were in flight",
		"observed_seconds predicted_seconds" },
	[EXPLAIN_MIX_OTHER] = { "as-observed-elsewhere", FINDING_CAUTION, false,
		"the observation is of another target, so its time can't check the prediction",
		"observed_token" },
	[EXPLAIN_MIX_MEANS] = { "as-observed-means", FINDING_CAUTION, false,
		"the observation was not traced: mean request sizes alone are known", NULL },
	[EXPLAIN_MIX_UNKNOWN] = { "as-observed-unknown", FINDING_CAUTION, false,
		"what is missing to predict the time of a direction, or what firmware could gain",
		"direction" },
	[EXPLAIN_MIX_NOTHING] = { "as-observed-nothing", FINDING_CAUTION, false,
		"the observation holds no request", NULL },
};

const size_t explain_code_count = sizeof explain_codes / sizeof *explain_codes;
