/* Checked numbers: parsing that refuses rather than guesses, arithmetic that cannot wrap. */
#ifndef BASE_NUMBER_H
#define BASE_NUMBER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Decimal digits only, the whole string. 0, or -EINVAL (not a number), -ERANGE (too large). */
int number_parse_u64(const char *text, uint64_t *out);

/* A plain decimal fraction ("0.5", "30"), finite and >= 0, in any locale. 0, -EINVAL, -ERANGE. */
int number_parse_decimal(const char *text, double *out);

static inline bool number_add_u64(uint64_t a, uint64_t b, uint64_t *sum)
{
	return !__builtin_add_overflow(a, b, sum);
}

static inline bool number_multiply_u64(uint64_t a, uint64_t b, uint64_t *product)
{
	return !__builtin_mul_overflow(a, b, product);
}

static inline uint64_t number_round_down(uint64_t n, uint64_t step)
{
	return n - n % step;
}

/* To a multiple of step; n is far from UINT64_MAX. */
static inline uint64_t number_round_up(uint64_t n, uint64_t step)
{
	return number_round_down(n + step - 1, step);
}

/* The greatest common divisor; that of n and 0 is n. */
static inline uint64_t number_gcd(uint64_t a, uint64_t b)
{
	while (b) {
		uint64_t rest = a % b;

		a = b;
		b = rest;
	}
	return a;
}

static inline bool number_is_power_of_two(uint64_t n)
{
	return n && !(n & (n - 1));
}

/* The nearest whole number; 0 for what is none or below it, 2^63 for anything above: a damaged record may hold any figures. */
static inline uint64_t number_whole(double x)
{
	return x >= 0x1p63 ? UINT64_C(1) << 63 : x > 0 ? (uint64_t)(x + 0.5) : 0;
}

#endif
