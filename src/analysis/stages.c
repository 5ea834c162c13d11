/* Stage budget. */
#include "analysis/stages.h"

#include <math.h>

double stages_in_turn(double link, double card)
{
	return 1 / (1 / link + 1 / card);
}

double stages_overlapped(double link, double card)
{
	return fmin(link, card);
}

double stages_chunked(double link, double card, uint64_t n, uint64_t chunk)
{
	double chunks, one;

	if (!chunk || chunk > n)
		chunk = n;
	chunks = (double)n / (double)chunk;
	one = (double)chunk;
	return (double)n / (one / link + one / card + (chunks - 1) * one / fmin(link, card));
}

double stages_overlap_degree(double link, double card, double measured)
{
	double in_turn = 1 / link + 1 / card, overlapped = 1 / fmin(link, card);

	return (in_turn - 1 / measured) / (in_turn - overlapped);
}

double stages_link_if_in_turn(double card, double measured)
{
	double rest = 1 / measured - 1 / card;

	return rest > 0 ? 1 / rest : 0;
}
