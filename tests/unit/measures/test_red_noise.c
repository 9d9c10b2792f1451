/* Noise that lasts longer than one reading (numeric/red_noise.h): its sums against dense algebra, and what
 * its intervals cover. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/red_noise.h"
#include "procedures/measures/numeric/student.h"
#include "procedures/measures/plateau.h"
#include "tests/unit/measures/synthetic.h"

#define N 12

static struct es_red_stretch stretch_of(const double *r, size_t n, bool sloped)
{
    struct es_red_stretch s = {.n = n, .sloped = sloped, .first = r[0], .last = r[n - 1]};
    for (size_t i = 0; i < n; i++) {
        s.square += r[i] * r[i];
        s.steps += i ? (r[i] - r[i - 1]) * (r[i] - r[i - 1]) : 0;
    }
    return s;
}

/* Cholesky factor of a in place; the logarithm of its determinant. */
static double factor(double a[N][N], size_t n)
{
    double log_det = 0;
    for (size_t j = 0; j < n; j++)
        for (size_t i = j; i < n; i++) {
            double sum = a[i][j];
            for (size_t k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            a[i][j] = i == j ? sqrt(sum) : sum / a[j][j];
            log_det += i == j ? 2 * log(a[i][j]) : 0;
        }
    return log_det;
}

static void forward(double a[N][N], const double *x, size_t n, double *out)
{
    for (size_t i = 0; i < n; i++) {
        out[i] = x[i];
        for (size_t k = 0; k < i; k++)
            out[i] -= a[i][k] * out[k];
        out[i] /= a[i][i];
    }
}

static double dot(const double *a, const double *b, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Restricted likelihood of a line's residuals by the definition, with the density of ln time. */
static double dense(const double *y, double time, double *sd)
{
    double r[N][N], columns[2][N], w[2][N], v[N], g[N][N] = {{0}}, b[2], z[2];
    for (size_t i = 0; i < N; i++) {
        columns[0][i] = 1;
        columns[1][i] = (double)i - 0.5 * (N - 1);
        for (size_t j = 0; j < N; j++)
            r[i][j] = exp(-fabs((double)i - (double)j) / time);
    }
    double log_all = -1 / time - log(time) - 0.5 * factor(r, N);
    forward(r, y, N, v);
    for (int k = 0; k < 2; k++) {
        forward(r, columns[k], N, w[k]);
        b[k] = dot(w[k], v, N);
    }
    for (int i = 0; i < 2; i++)
        for (int j = 0; j < 2; j++)
            g[i][j] = dot(w[i], w[j], N);
    log_all -= 0.5 * factor(g, 2);
    forward(g, b, 2, z);
    double left = dot(v, v, N) - dot(z, z, 2);
    *sd = sqrt(left / (N - 2));
    return log_all - 0.5 * (N - 2) * log(left);
}

Test(red_noise, sums_are_those_of_dense_algebra)
{
    uint64_t seed = 4;
    double y[N], mean = 0, slope = 0, e = 0;
    for (size_t i = 0; i < N; i++) {
        e = 0.7 * e + syn_normal(&seed);
        y[i] = e;
        mean += e / N;
    }
    for (size_t i = 0; i < N; i++)
        slope += (y[i] - mean) * ((double)i - 0.5 * (N - 1)) / (N * (N * N - 1.0) / 12);
    for (size_t i = 0; i < N; i++)
        y[i] -= mean + slope * ((double)i - 0.5 * (N - 1));
    struct es_red_stretch s = stretch_of(y, N, true);
    struct es_red_noise noise;
    double sd, first;
    cr_assert(es_red_noise_of(&s, 1, &noise));
    first = dense(y, noise.time[0], &sd);
    for (int k = 0; k < ES_RED_GRID; k += 3) {
        double at = dense(y, noise.time[k], &sd);
        cr_expect_float_eq(log(noise.weight[k] / noise.weight[0]), at - first, 1e-6, "%d", k);
        cr_expect_float_eq(noise.sd[k] / sd, 1, 1e-7, "%d", k);
    }
}

Test(red_noise, share_of_a_mean)
{
    for (double time = 0; time<1e6; time = time> 0 ? time * 7 : 0.3)
        for (size_t n = 1; n < 400; n = 2 * n + 1) {
            double sum = 0, phi = time > 0 ? exp(-1 / time) : 0;
            for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++)
                    sum += i == j ? 1 : pow(phi, fabs((double)i - (double)j));
            cr_expect_float_eq(es_red_share(time, n), sum / (double)(n * n), 1e-6, "%g %zu", time, n);
        }
}

Test(red_noise, time_and_size_are_found)
{
    uint64_t seed = 8;
    static const double times[] = {2, 20, 100};
    for (int k = 0; k < 3; k++) {
        struct es_trace *t = syn_trace();
        struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 20000, 100);
        syn_red_noise(s, 3, exp(-1 / times[k]), &seed);
        struct es_red_stretch parts[2] = {stretch_of(s->y, 10000, false),
                                          stretch_of(s->y + 10000, 10000, false)};
        struct es_red_noise noise;
        double time, sd;
        cr_assert(es_red_noise_of(parts, 2, &noise));
        es_red_typical(&noise, &time, &sd);
        cr_expect_float_eq(time / times[k], 1, 0.3, "%g: %g", times[k], time);
        cr_expect_float_eq(sd, 3, 0.4, "%g: %g", times[k], sd);
        es_trace_free(t);
    }
}

/* Four correlation times of readings: the sum of autocorrelations alone holds in 74 of 100. */
Test(red_noise, few_correlation_times_are_covered)
{
    uint64_t seed = 2;
    int covered = 0, all = 300;
    for (int k = 0; k < all; k++) {
        struct es_trace *t = syn_trace();
        struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 400, 100);
        syn_red_noise(s, 1, exp(-1.0 / 100), &seed);
        struct es_plateau p;
        cr_assert(es_plateau_of(s->t, s->y, s->count, &p));
        covered += fabs(p.mean) <= p.u_mean * es_t_quantile(0.975, p.dof);
        es_trace_free(t);
    }
    cr_expect_geq(covered, 270, "%d of %d", covered, all);
}

Test(red_noise, nothing_to_go_by)
{
    struct es_red_noise noise;
    struct es_red_stretch few = {.n = 5, .square = 1, .steps = 1}, same = {.n = 100};
    cr_expect_not(es_red_noise_of(&few, 1, &noise));
    cr_expect_not(es_red_noise_of(&same, 1, &noise));
    cr_expect_not(es_red_noise_of(NULL, 0, &noise));
}
