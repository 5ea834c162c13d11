/* Two stages. */
#include "analysis/stages.h"

#include <math.h>

double stages_request(double link, double card, uint64_t n, uint64_t chunk, double fixed_s)
{
	double chunks, one;

	if (!chunk || chunk > n)
		chunk = n;
	chunks = (double)n / (double)chunk;
	one = (double)chunk;
	return (double)n /
	       (fixed_s + one / link + one / card + (chunks - 1) * one / fmin(link, card));
}

double stages_chunked(double link, double card, uint64_t n, uint64_t chunk)
{
	return stages_request(link, card, n, chunk, 0);
}
