/* Seeded random numbers for tests that simulate measurements. */
#ifndef SUPPORT_CHANCE_H
#define SUPPORT_CHANCE_H

struct random;

double chance_normal(struct random *r); /* mean 0, sd 1 */

/* How far a share seen in `trials` trials may lie from its true value: z standard errors of the binomial. */
double chance_margin(double share, unsigned trials, double z);

#endif
