/* Normal variates (Box and Muller 1958) from the seeded generator. */
#include "support/chance.h"

#include <math.h>

#include "base/random.h"

double chance_normal(struct random *r)
{
	double u = 1 - random_unit(r), v = random_unit(r);

	return sqrt(-2 * log(u)) * cos(2 * M_PI * v);
}

double chance_margin(double share, unsigned trials, double z)
{
	return z * sqrt(share * (1 - share) / trials);
}
