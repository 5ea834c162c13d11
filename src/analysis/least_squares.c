/* Normal equations, solved by Cholesky's decomposition. */
#include "analysis/least_squares.h"

#include <math.h>

/* Columns that leave less than this of one another are the same, as far as rounding lets see. */
#define DEPENDENT 1e-10

struct normal {
	double a[LEAST_SQUARES_MAX][LEAST_SQUARES_MAX], b[LEAST_SQUARES_MAX];
	double scale[LEAST_SQUARES_MAX];
	size_t n;
};

static double dot(const double *u, const double *v, const double *w, size_t rows)
{
	double sum = 0;

	for (size_t i = 0; i < rows; i++)
		sum += w[i] * u[i] * v[i];
	return sum;
}

static bool gather(struct normal *m, const double *const *columns, const double *y, const double *w,
	size_t rows)
{
	for (size_t j = 0; j < m->n; j++) {
		m->scale[j] = sqrt(dot(columns[j], columns[j], w, rows));
		if (!(m->scale[j] > 0))
			return false;
	}
	for (size_t j = 0; j < m->n; j++) {
		m->b[j] = dot(columns[j], y, w, rows) / m->scale[j];
		for (size_t k = 0; k <= j; k++)
			m->a[j][k] =
				dot(columns[j], columns[k], w, rows) / m->scale[j] / m->scale[k];
	}
	return true;
}

static bool decompose(struct normal *m)
{
	for (size_t j = 0; j < m->n; j++) {
		for (size_t k = 0; k <= j; k++) {
			double sum = m->a[j][k];

			for (size_t i = 0; i < k; i++)
				sum -= m->a[j][i] * m->a[k][i];
			if (k < j)
				m->a[j][k] = sum / m->a[k][k];
			else if (!(sum > DEPENDENT))
				return false;
			else
				m->a[j][j] = sqrt(sum);
		}
	}
	return true;
}

static void substitute(struct normal *m)
{
	for (size_t j = 0; j < m->n; j++) {
		for (size_t i = 0; i < j; i++)
			m->b[j] -= m->a[j][i] * m->b[i];
		m->b[j] /= m->a[j][j];
	}
	for (size_t j = m->n; j-- > 0;) {
		for (size_t i = j + 1; i < m->n; i++)
			m->b[j] -= m->a[i][j] * m->b[i];
		m->b[j] /= m->a[j][j];
	}
}

bool least_squares(double *coefficients, const double *const *columns, size_t count,
	const double *y, const double *w, size_t rows)
{
	struct normal m = { .n = count };

	if (!count || count > LEAST_SQUARES_MAX || rows < count ||
		!gather(&m, columns, y, w, rows) || !decompose(&m))
		return false;
	substitute(&m);
	for (size_t j = 0; j < count; j++)
		coefficients[j] = m.b[j] / m.scale[j];
	return true;
}
