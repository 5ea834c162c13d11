/* Holm's step-down correction (Scandinavian Journal of Statistics 6, 1979): many questions asked at once, and still
 * at most alpha of all runs raise any false alarm. */
#ifndef ANALYSIS_HOLM_H
#define ANALYSIS_HOLM_H

#include <stddef.h>

/* adjusted[i] belongs to p[i]: reject where it is <= alpha. 0, or -1 when memory ran out. */
int holm_adjust(double *adjusted, const double *p, size_t n);

#endif
