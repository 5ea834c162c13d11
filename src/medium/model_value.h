/* Values of a model file with their units. 0, or -EINVAL (not of that form), -ERANGE (out of range). */
#ifndef MEDIUM_MODEL_VALUE_H
#define MEDIUM_MODEL_VALUE_H

#include <stdint.h>

#include "medium/model_spec.h"

int model_value_rate(const char *text,
	double *bytes_per_second); /* "870 kB/s", "1.2 MB/s", "unlimited" (infinite) */
int model_value_time(const char *text, double *ns); /* "80 us", "0.25 ms" */
int model_value_percent(const char *text, double *fraction); /* "2.5 %" */
int model_value_one_in(const char *text, uint64_t *n); /* "1 in 50" */
int model_value_range(const char *text, struct model_range *range); /* "1Mi+4Ki" */
int model_value_byte(const char *text, uint64_t *byte); /* "00h", "FFh" */

#endif
