#include "drivers/virtual/air.h"

#include <math.h>
#include <string.h>

/* Factor of the choked flow at ratio r = low/high, and its slope dS/dr. */
static double ratio_factor(double r, double b, double *slope)
{
    if (r <= b) {
        *slope = 0;
        return 1;
    }
    const double w = 1 / (1 - b);
    if (r <= ES_AIR_LAMINAR) {
        const double y = (r - b) * w;
        const double s = sqrt(1 - y * y);
        *slope = -y * w / s;
        return s;
    }
    /* S(x) = Sl (a x + (1 - a) x^3), x = (1 - r)/(1 - rl), joined to the branch above at x = 1. */
    const double yl = (ES_AIR_LAMINAR - b) * w;
    const double sl2 = 1 - yl * yl;
    const double sl = sqrt(sl2);
    const double k = yl * w / sl2 * (1 - ES_AIR_LAMINAR);
    const double a = (3 - k) / 2;
    const double x = (1 - r) / (1 - ES_AIR_LAMINAR);
    *slope = -sl * (a + 3 * (1 - a) * x * x) / (1 - ES_AIR_LAMINAR);
    return sl * x * (a + (1 - a) * x * x);
}

/* Flow from the higher pressure; root = sqrt(T0/T) of the upstream air. */
static double downhill(double C, double b, double high, double low, double root, double *dq_dhigh,
                       double *dq_dlow)
{
    const double K = C * ES_AIR_RHO0 * root;
    const double r = low / high;
    double slope;
    const double s = ratio_factor(r, b, &slope);
    *dq_dhigh = K * (s - r * slope);
    *dq_dlow = K * slope;
    return K * high * s;
}

static double flow_by_roots(double C, double b, double p1, double root1, double p2, double root2,
                            double *dq_dp1, double *dq_dp2)
{
    if (p1 >= p2) {
        return downhill(C, b, p1, p2, root1, dq_dp1, dq_dp2);
    }
    double d_high, d_low;
    const double q = downhill(C, b, p2, p1, root2, &d_high, &d_low);
    *dq_dp1 = -d_low;
    *dq_dp2 = -d_high;
    return -q;
}

double es_air_flow(double C, double b, double p1, double T1, double p2, double T2, double *dq_dp1,
                   double *dq_dp2)
{
    return flow_by_roots(C, b, p1, sqrt(ES_AIR_T0 / T1), p2, sqrt(ES_AIR_T0 / T2), dq_dp1, dq_dp2);
}

void es_air_fill(struct es_air *air, int node, double volume, double pressure, double temperature)
{
    air->p[node] = pressure;
    air->T[node] = temperature;
    if (node < ES_AIR_INNER) {
        air->V[node] = volume;
        air->m[node] = pressure * volume / (ES_AIR_R * temperature);
    }
}

struct linear {
    double A[ES_AIR_INNER][ES_AIR_INNER];
    double y[ES_AIR_INNER];
};

/* Rows are diagonally dominant (every term is a conductance), hence no pivoting. */
static void solve(struct linear *s)
{
    for (int k = 0; k < ES_AIR_INNER; k++) {
        const double inverse = 1 / s->A[k][k];
        for (int i = k + 1; i < ES_AIR_INNER; i++) {
            if (s->A[i][k] == 0) {
                continue;
            }
            const double f = s->A[i][k] * inverse;
            for (int j = k + 1; j < ES_AIR_INNER; j++) {
                s->A[i][j] -= f * s->A[k][j];
            }
            s->y[i] -= f * s->y[k];
        }
    }
    for (int k = ES_AIR_INNER - 1; k >= 0; k--) {
        for (int j = k + 1; j < ES_AIR_INNER; j++) {
            s->y[k] -= s->A[k][j] * s->y[j];
        }
        s->y[k] /= s->A[k][k];
    }
}

struct edge_work {
    double q, q_from, q_to, theta;
};

/* What one kilogram from `upstream` does to the pressure of `node` within the step. */
struct node_work {
    double base, gain; /* dp/dm = base + gain * T_upstream */
    double inverse;    /* 1/(m cv + h hA) before the step */
};

/* Pressure change without any flow (walls and moving piston), and the sensitivity to flow. */
static double node_prepare(const struct es_air *air, int i, double h, double dV, struct node_work *w)
{
    const double heat_capacity = air->m[i] * ES_AIR_CV;
    const double inverse = 1 / (heat_capacity + h * air->hA[i]);
    const double V = air->V[i] + dV;
    const double T = (heat_capacity * air->T[i] - air->p[i] * dV + h * air->hA[i] * air->wall) * inverse;
    const double adiabatic = heat_capacity * inverse;
    w->base = ES_AIR_R / V * T * (1 - adiabatic);
    w->gain = ES_AIR_R / V * adiabatic * ES_AIR_GAMMA;
    w->inverse = inverse;
    return air->m[i] * ES_AIR_R * T / V - air->p[i];
}

/* Weight between explicit middle (0.5: second order) and implicit end (1: no ringing), fitted to
 * exp(-z): 1/(1 - exp(-z)) - 1/z, here by its (1,1) rational form. */
static double implicit_weight(double z)
{
    return (3 + z) / (6 + z);
}

/* Flow per difference of pressure. */
static double secant_slope(const struct es_air *air, const struct es_air_edge *e, double q)
{
    const double difference = air->p[e->from] - air->p[e->to];
    return fabs(difference) > 1 ? q / difference : 0;
}

/* The tangent of a flow that is choked, or near equal pressures, is too flat to see the equilibrium coming.
 * Where the step is long against the joint's own time (z), the straight line to no flow at equal pressure
 * takes its place: it cannot overshoot. With z^2, so that slow flows keep their second order. */
static void lean_on_secant(struct edge_work *w, double secant, double z)
{
    if (secant <= 0) {
        return;
    }
    const double share = z * z / (1 + z * z);
    w->q_from += share * (secant - w->q_from);
    w->q_to += share * (-secant - w->q_to);
}

static void edge_into_matrix(const struct es_air *air, const struct es_air_edge *e, double h,
                             const struct node_work *nodes, struct edge_work *w, struct linear *s)
{
    const double T_up = air->T[w->q >= 0 ? e->from : e->to];
    const bool from = e->from < ES_AIR_INNER, to = e->to < ES_AIR_INNER;
    const double b_from = from ? h * (nodes[e->from].base + nodes[e->from].gain * T_up) : 0;
    const double b_to = to ? h * (nodes[e->to].base + nodes[e->to].gain * T_up) : 0;
    const double secant = e->dC_from == 0 && e->dC_to == 0 ? secant_slope(air, e, w->q) : 0;
    const double z = fmax(fmax(b_from * w->q_from, -b_to * w->q_to), secant * (b_from + b_to));
    lean_on_secant(w, secant, z);
    w->theta = implicit_weight(z);
    const double a = w->theta * w->q_from, c = w->theta * w->q_to;
    if (from) {
        s->y[e->from] -= b_from * w->q;
        s->A[e->from][e->from] += b_from * a;
        if (to) {
            s->A[e->from][e->to] += b_from * c;
        }
    }
    if (to) {
        s->y[e->to] += b_to * w->q;
        s->A[e->to][e->to] -= b_to * c;
        if (from) {
            s->A[e->to][e->from] -= b_to * a;
        }
    }
}

/* Books what flowed through one edge: mass and enthalpy leave one node and enter the other. */
static void edge_book(struct es_air *air, struct es_air_edge *e, const struct edge_work *w, double h,
                      const double *dp, double *dm, double *dH)
{
    double q = w->q;
    if (e->from < ES_AIR_INNER) {
        q += w->theta * w->q_from * dp[e->from];
    }
    if (e->to < ES_AIR_INNER) {
        q += w->theta * w->q_to * dp[e->to];
    }
    e->flow = q;
    const double mass = h * q;
    const double enthalpy = mass * ES_AIR_CP * air->T[q >= 0 ? e->from : e->to];
    if (e->from < ES_AIR_INNER) {
        dm[e->from] -= mass;
        dH[e->from] -= enthalpy;
    } else {
        air->mass_in += e->from == ES_AIR_SOURCE ? mass : 0;
        air->enthalpy_in += e->from == ES_AIR_SOURCE ? enthalpy : 0;
        air->mass_out -= e->from == ES_AIR_SOURCE ? 0 : mass;
        air->enthalpy_out -= e->from == ES_AIR_SOURCE ? 0 : enthalpy;
    }
    if (e->to < ES_AIR_INNER) {
        dm[e->to] += mass;
        dH[e->to] += enthalpy;
    } else {
        air->mass_out += mass;
        air->enthalpy_out += enthalpy;
    }
}

static void node_finish(struct es_air *air, int i, double h, double dV, double dp, double dm, double dH)
{
    const double U = air->m[i] * ES_AIR_CV * air->T[i];
    const double work = (air->p[i] + dp / 2) * dV;
    const double m = air->m[i] + dm;
    const double T = (U + dH - work + h * air->hA[i] * air->wall) / (m * ES_AIR_CV + h * air->hA[i]);
    air->heat += h * air->hA[i] * (air->wall - T);
    air->work += work;
    air->m[i] = m;
    air->T[i] = T;
    air->V[i] += dV;
    air->p[i] = m * ES_AIR_R * T / air->V[i];
}

/* Everything that one step needs; on one level of splitting. */
struct step {
    struct linear equations;
    struct node_work nodes[ES_AIR_INNER];
    struct edge_work edges[ES_AIR_EDGES_MAX];
};

static bool is_shut(const struct es_air_edge *e)
{
    return e->C <= 0 && e->dC_from == 0 && e->dC_to == 0;
}

/* Sets up and solves the equations; pressure changes are then in equations.y. */
static void predict(const struct es_air *air, double h, const double dV[ES_AIR_INNER], struct step *s)
{
    double root[ES_AIR_NODES];
    memset(&s->equations, 0, sizeof s->equations);
    for (int i = 0; i < ES_AIR_NODES; i++) {
        root[i] = sqrt(ES_AIR_T0 / air->T[i]);
    }
    for (int i = 0; i < ES_AIR_INNER; i++) {
        s->equations.A[i][i] = 1;
        s->equations.y[i] = node_prepare(air, i, h, dV[i], &s->nodes[i]);
    }
    for (int n = 0; n < air->edge_count; n++) {
        const struct es_air_edge *e = &air->edges[n];
        if (is_shut(e)) {
            continue;
        }
        struct edge_work *w = &s->edges[n];
        /* Per unit of conductance, so that a conductance which follows a pressure enters the slope too. */
        const double f = flow_by_roots(1, e->b, air->p[e->from], root[e->from], air->p[e->to], root[e->to],
                                       &w->q_from, &w->q_to);
        w->q = e->C * f;
        w->q_from = e->C * w->q_from + e->dC_from * f;
        w->q_to = e->C * w->q_to + e->dC_to * f;
        edge_into_matrix(air, e, h, s->nodes, w, &s->equations);
    }
    solve(&s->equations);
}

static void finish(struct es_air *air, double h, const double dV[ES_AIR_INNER], const struct step *s)
{
    double dm[ES_AIR_INNER] = {0}, dH[ES_AIR_INNER] = {0};
    for (int n = 0; n < air->edge_count; n++) {
        struct es_air_edge *e = &air->edges[n];
        e->flow = 0;
        if (!is_shut(e)) {
            edge_book(air, e, &s->edges[n], h, s->equations.y, dm, dH);
        }
    }
    for (int i = 0; i < ES_AIR_INNER; i++) {
        node_finish(air, i, h, dV[i], s->equations.y[i], dm[i], dH[i]);
    }
}

/* Choked flow does not feel the volume that it fills: a step in which a pressure changes this much could
 * carry it beyond its neighbour's, and is done in two halves. */
#define LARGEST_CHANGE  0.1
#define MOST_SPLITTINGS 12

static double step_or_split(struct es_air *air, double h, const double dV[ES_AIR_INNER], int level)
{
    struct step s;
    double largest = 0;
    predict(air, h, dV, &s);
    for (int i = 0; i < ES_AIR_INNER; i++) {
        largest = fmax(largest, fabs(s.equations.y[i]) / air->p[i]);
    }
    if (largest <= LARGEST_CHANGE || level == MOST_SPLITTINGS) {
        finish(air, h, dV, &s);
        return largest;
    }
    double half[ES_AIR_INNER], flow[ES_AIR_EDGES_MAX] = {0};
    for (int i = 0; i < ES_AIR_INNER; i++) {
        half[i] = dV[i] / 2;
    }
    const double first = step_or_split(air, h / 2, half, level + 1);
    for (int n = 0; n < air->edge_count; n++) {
        flow[n] = air->edges[n].flow;
    }
    const double second = step_or_split(air, h / 2, half, level + 1);
    for (int n = 0; n < air->edge_count; n++) {
        air->edges[n].flow = (air->edges[n].flow + flow[n]) / 2;
    }
    return first + second;
}

double es_air_step(struct es_air *air, double h, const double dV[ES_AIR_INNER])
{
    return step_or_split(air, h, dV, 0);
}
