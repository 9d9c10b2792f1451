#include "procedures/measures/budget.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "procedures/measures/numeric/student.h"

void es_budget_add(struct es_budget *b, enum es_term term, double u, double dof)
{
    double square = u * u;
    b->square[term] += square;
    if (isfinite(dof) && dof > 0)
        b->fourth_per_dof[term] += square * square / dof;
}

double es_rectangular(double half_width)
{
    return fabs(half_width) / sqrt(3.0);
}

double es_resolution_u(double q, double s)
{
    if (!(q > 0))
        return 0;
    double u = q / sqrt(12.0);
    double noise = s * s - u * u; /* what remains of the scatter without the steps themselves */
    if (!(noise > 0))
        return u;
    double pi = 3.14159265358979323846;
    return u * exp(-2 * pi * pi * noise / (q * q));
}

void es_measured_start(struct es_measured *m, const char *name, enum es_dimension dimension)
{
    memset(m, 0, sizeof *m);
    snprintf(m->name, sizeof m->name, "%s", name);
    snprintf(m->reason, sizeof m->reason, "not evaluated");
    m->dimension = dimension;
    m->value = m->u = m->U = m->k = NAN;
    m->u_repeat = m->u_common = NAN;
    m->dof_repeat = m->dof_common = m->dof = INFINITY;
    m->role = ES_ROLE_NONE;
}

void es_measured_refuse(struct es_measured *m, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vsnprintf(m->reason, sizeof m->reason, format, args);
    va_end(args);
    m->valid = false;
    m->value = m->u = m->U = m->k = m->u_repeat = m->u_common = NAN;
}

static double dof_of(const struct es_budget *b, enum es_term term)
{
    double square = b->square[term];
    return b->fourth_per_dof[term] > 0 ? square * square / b->fourth_per_dof[term] : INFINITY;
}

void es_measured_set(struct es_measured *m, double value, const struct es_budget *b)
{
    m->value = value;
    m->u_repeat = sqrt(b->square[ES_TERM_REPEAT]);
    m->u_common = sqrt(b->square[ES_TERM_COMMON]);
    m->dof_repeat = dof_of(b, ES_TERM_REPEAT);
    m->dof_common = dof_of(b, ES_TERM_COMMON);
    m->valid = true;
    m->reason[0] = '\0';
    es_measured_combine(m);
    if (!isfinite(m->value) || !isfinite(m->U))
        es_measured_refuse(m, "the calculation gave no finite number");
}

void es_measured_combine(struct es_measured *m)
{
    double r2 = m->u_repeat * m->u_repeat, c2 = m->u_common * m->u_common;
    double below = 0;
    if (isfinite(m->dof_repeat) && r2 > 0)
        below += r2 * r2 / m->dof_repeat;
    if (isfinite(m->dof_common) && c2 > 0)
        below += c2 * c2 / m->dof_common;
    m->u = sqrt(r2 + c2);
    m->dof = below > 0 ? (r2 + c2) * (r2 + c2) / below : INFINITY;
    m->k = es_t_quantile(0.975, m->dof);
    m->U = m->k * m->u;
}
