/* The cell passes of waveflow/physics/pipes.py, fill_ghosts and wall_laws in plain C: the speed a compiler reaches from
 * code written for it, and a second opinion on every number. One pipe, closed at both ends.
 *
 * Rows are contiguous and n long (faces: n + 1), cell 0 and the one behind cell `far` are ghosts, idle cells may follow; names and row order as in layout.py.
 * Built with -O3 -march=native -ffast-math and a preferred vector width. */

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { RHO, FLOW, PRES, YF, YB, VEL, TEMP, SOUND2, GRUN, PRIMITIVES };
enum { AREA, AREA_L, AREA_R, LENGTH, VOLUME_INV, WEIGHT_L, WEIGHT_R, HYDRAULIC, ROUGHNESS, WALL_T, WETTED, INV_LENGTH, LOSS,
       PER_AREA, PER_AREA_L, PER_AREA_R, SIZE, ROUGH, STRETCH_L, STRETCH_R, GEOMETRY };
enum { SRC_MOMENTUM, SRC_ENERGY, FRICTION, HEAT, RATE, SOURCES };
enum { FIELDS = 5 };

#define LN2 0.69314718055994530942
#define MAX(a, b) ((a) > (b) ? (a) : (b))
#define MIN(a, b) ((a) < (b) ? (a) : (b))

typedef struct {
    double r[3], e[3][10], mu[3], lam[3];
} gas_t;

static inline double limited(double down, double up, double wl, double wr)
{
    double centre = wl * down + wr * up;
    double bound = 2.0 * MIN(fabs(down), fabs(up));
    double size = MIN(fabs(centre), bound);
    size = down * up > 0.0 ? size : 0.0;
    return centre > 0.0 ? size : -size;
}

static inline double limited_contact(double down, double up, double sl, double sr)
{
    double a = sl * fabs(down), b = sr * fabs(up);
    double more = MAX(a, b), less = MIN(a, b);
    double size = MIN(MAX(0.5 * (a + b), MIN(2.0 * more - 1.25 * less, 1.5 * less)), 2.0 * less);
    size = down * up > 0.0 ? size : 0.0;
    return down > 0.0 ? size : -size;
}

static void reconstruct(long n, long S, const double *restrict w, const double *restrict g, const double *restrict widening,
                        double *restrict wall, double *restrict half, double dt)
{
    const double *rho_ = w + RHO * S, *flow_ = w + FLOW * S, *pres_ = w + PRES * S, *yf_ = w + YF * S, *yb_ = w + YB * S;
    const double *vel = w + VEL * S, *temp = w + TEMP * S, *sound2 = w + SOUND2 * S, *grun = w + GRUN * S;
    const double *area = g + AREA * S, *inv = g + INV_LENGTH * S;
    const double *per_area = g + PER_AREA * S, *per_l = g + PER_AREA_L * S, *per_r = g + PER_AREA_R * S, *size = g + SIZE * S;
    const double *wl = g + WEIGHT_L * S, *wr = g + WEIGHT_R * S, *wall_t = g + WALL_T * S;
    const double *sl = g + STRETCH_L * S, *sr = g + STRETCH_R * S;
    const double *friction = wall + FRICTION * S, *heat = wall + HEAT * S;
    double *src_m = wall + SRC_MOMENTUM * S, *src_e = wall + SRC_ENERGY * S;
    double *l_rho = half + 1, *l_vel = half + S + 1, *l_pres = half + 2 * S + 1, *l_yf = half + 3 * S + 1, *l_yb = half + 4 * S + 1;
    double *r_rho = half + 5 * S, *r_vel = half + 6 * S, *r_pres = half + 7 * S, *r_yf = half + 8 * S, *r_yb = half + 9 * S;
    double half_dt = 0.5 * dt;
#pragma GCC ivdep
    for (long i = 1; i < n - 1; i++) {
        double d_flow = limited(flow_[i] - flow_[i - 1], flow_[i + 1] - flow_[i], wl[i], wr[i]);
        double per_all = 1.0 / (rho_[i] * pres_[i] * sound2[i]), per_sound2 = per_all * rho_[i] * pres_[i];
        double down_p = pres_[i] - pres_[i - 1], up_p = pres_[i + 1] - pres_[i];
        double d_pres = limited(down_p, up_p, wl[i], wr[i]);
        double d_yf = limited_contact(yf_[i] - yf_[i - 1], yf_[i + 1] - yf_[i], sl[i], sr[i]);
        double d_yb = limited_contact(yb_[i] - yb_[i - 1], yb_[i + 1] - yb_[i], sl[i], sr[i]);
        double down = rho_[i] - rho_[i - 1], up = rho_[i + 1] - rho_[i];
        double both = d_pres * per_sound2 + limited_contact(down - down_p * per_sound2, up - up_p * per_sound2, sl[i], sr[i]);
        double most = down * up > 0.0 ? 2.0 * MIN(fabs(down), fabs(up)) : 0.0;
        double d_rho = down > 0.0 ? MIN(MAX(both, 0.0), most) : MAX(MIN(both, 0.0), -most);
        double rho = rho_[i], flow = flow_[i], pres = pres_[i], u = vel[i];
        double per_rho = per_all * pres * sound2[i], per_pres = per_all * rho * sound2[i];
        double drag = friction[i] * fabs(u);
        double warm = heat[i] * (wall_t[i] - temp[i]);
        double du = (flow + 0.5 * d_flow) * per_r[i] - (flow - 0.5 * d_flow) * per_l[i];
        double step = half_dt * inv[i];
        double ch_rho = -step * per_area[i] * (rho * d_flow + flow * d_rho);
        double ch_vel = -step * (u * du + d_pres * per_rho) - half_dt * drag * u;
        double ch_pres = -step * (u * d_pres + rho * sound2[i] * per_area[i] * d_flow)
                         + half_dt * grun[i] * (warm + rho * drag * u * u);
        double ch_yf = -step * u * d_yf, ch_yb = -step * u * d_yb;
        int sound = (rho + ch_rho > 0.2 * rho + 0.5 * fabs(d_rho)) & (pres + ch_pres > 0.2 * pres + 0.5 * fabs(d_pres));
        ch_rho = sound ? ch_rho : 0.0;
        ch_pres = sound ? ch_pres : 0.0;
        d_rho = sound ? d_rho : 0.0;
        d_pres = sound ? d_pres : 0.0;
        double rho_h = rho + ch_rho, pres_h = pres + ch_pres, flow_h = flow + ch_vel * area[i];
        l_rho[i] = rho_h + 0.5 * d_rho;
        r_rho[i] = rho_h - 0.5 * d_rho;
        l_pres[i] = pres_h + 0.5 * d_pres;
        r_pres[i] = pres_h - 0.5 * d_pres;
        l_vel[i] = (flow_h + 0.5 * d_flow) * per_r[i];
        r_vel[i] = (flow_h - 0.5 * d_flow) * per_l[i];
        l_yf[i] = MIN(MAX(yf_[i] + ch_yf + 0.5 * d_yf, 0.0), 1.0);
        r_yf[i] = MIN(MAX(yf_[i] + ch_yf - 0.5 * d_yf, 0.0), 1.0);
        l_yb[i] = MIN(MAX(yb_[i] + ch_yb + 0.5 * d_yb, 0.0), 1.0);
        r_yb[i] = MIN(MAX(yb_[i] + ch_yb - 0.5 * d_yb, 0.0), 1.0);
        double u_h = u + ch_vel;
        src_m[i] = pres_h * widening[i] - rho_h * friction[i] * u_h * fabs(u_h) * size[i];
        src_e[i] = heat[i] * (wall_t[i] - temp[i] * (1.0 + ch_pres * per_pres - ch_rho * per_rho)) * size[i];
    }
}

/* e(T) and cv(T) [J/kg, J/kg/kK] of a mixture at t = T / 1000 K */
#define MIXTURE(name, yf, yb)                                                                                      \
    double name##0 = a[0] + yf * f[0] + yb * b[0], name##1 = a[1] + yf * f[1] + yb * b[1],                             \
           name##2 = a[2] + yf * f[2] + yb * b[2], name##3 = a[3] + yf * f[3] + yb * b[3],                             \
           name##4 = a[4] + yf * f[4] + yb * b[4], name##5 = a[5] + yf * f[5] + yb * b[5],                             \
           name##6 = a[6] + yf * f[6] + yb * b[6], name##7 = a[7] + yf * f[7] + yb * b[7],                             \
           name##8 = a[8] + yf * f[8] + yb * b[8], name##9 = a[9] + yf * f[9] + yb * b[9]
/* both at once: Horner's scheme and its derivative, without the products by 2, 3, 4, 5 */
#define ENERGY_AND_CV(c, t, x, e, cv)                                                                              \
    do {                                                                                                           \
        double p = c##5 * t + c##4, s = c##5 * t + p, q = c##9 * x + c##8, v = c##9 * x + q;                           \
        p = p * t + c##3, s = s * t + p, p = p * t + c##2, s = s * t + p, p = p * t + c##1, s = s * t + p;             \
        q = q * x + c##7, v = v * x + q, q = q * x + c##6;                                                           \
        e = p * t + c##0 + x * x * q, cv = s + x * (q + q + x * v);                                                  \
    } while (0)

static void differences(const gas_t *gas, double a[10], double f[10], double b[10])
{
    for (int k = 0; k < 10; k++) {
        a[k] = gas->e[0][k];
        f[k] = gas->e[1][k] - a[k];
        b[k] = gas->e[2][k] - a[k];
    }
}

static void fluxes(long n, long S, const double *restrict half, const double *restrict face_area, const gas_t *gas,
                   double *restrict flux)
{
    double a[10], f[10], b[10];
    differences(gas, a, f, b);
    double r0 = gas->r[0], r1 = gas->r[1] - r0, r2 = gas->r[2] - r0;
    const double *l_rho = half, *l_vel = half + S, *l_pres = half + 2 * S, *l_yf = half + 3 * S, *l_yb = half + 4 * S;
    const double *r_rho = half + 5 * S, *r_vel = half + 6 * S, *r_pres = half + 7 * S, *r_yf = half + 8 * S, *r_yb = half + 9 * S;
#pragma GCC ivdep
    for (long i = 1; i < n; i++) {
        double rl = l_rho[i], ul = l_vel[i], pl = l_pres[i], yfl = l_yf[i], ybl = l_yb[i];
        double rr = r_rho[i], ur = r_vel[i], pr = r_pres[i], yfr = r_yf[i], ybr = r_yb[i];
        double gas_l = r0 + yfl * r1 + ybl * r2, gas_r = r0 + yfr * r1 + ybr * r2;
        double heavy_l = rl * gas_l, heavy_r = rr * gas_r, per_heavy = 1e-3 / (heavy_l * heavy_r);
        double tl = pl * heavy_r * per_heavy, tr = pr * heavy_l * per_heavy;
        double xl = MAX(tl - 1.0, 0.0), xr = MAX(tr - 1.0, 0.0);
        MIXTURE(c, yfl, ybl);
        double el, cvl, er, cvr;
        ENERGY_AND_CV(c, tl, xl, el, cvl);
        MIXTURE(d, yfr, ybr);
        ENERGY_AND_CV(d, tr, xr, er, cvr);
        double rtl = 1e3 * tl * gas_l, rtr = 1e3 * tr * gas_r, per_cv = 1e3 / (cvl * cvr);
        double al2 = rtl * (1.0 + gas_l * cvr * per_cv), ar2 = rtr * (1.0 + gas_r * cvl * per_cv);
        double mean = sqrt(rl * rr), per_sum = 1.0 / (rl + mean), wl = rl * per_sum, wr = mean * per_sum;
        double u_mean = wl * ul + wr * ur;
        double d_mean = sqrt(wl * al2 + wr * ar2 + 0.5 * wl * wr * (ur - ul) * (ur - ul));
        double sl = MIN(ul - sqrt(al2), u_mean - d_mean), sr = MAX(ur + sqrt(ar2), u_mean + d_mean);
        double ml = rl * (sl - ul), mr = rr * (sr - ur);
        double s_star = (pr - pl + ml * ul - mr * ur) / (ml - mr);
        int left = s_star >= 0.0;
        double rho = left ? rl : rr, u = left ? ul : ur, pres = left ? pl : pr, yf = left ? yfl : yfr, yb = left ? ybl : ybr;
        double energy = (left ? el : er) + 0.5 * u * u, speed = left ? sl : sr;
        double bounded = left ? MIN(speed, 0.0) : MAX(speed, 0.0);
        double relative = speed - u;
        double flowing = rho * relative, ahead = speed - s_star, per_both = 1.0 / (flowing * ahead);
        double rho_star = flowing * flowing * per_both;
        double e_star = energy + (s_star - u) * (s_star + pres * ahead * per_both);
        double mass = rho * u + bounded * (rho_star - rho);
        double area = face_area[i];
        flux[i] = area * mass;
        flux[S + i] = area * (rho * u * u + pres + bounded * (rho_star * s_star - rho * u));
        flux[2 * S + i] = area * ((rho * energy + pres) * u + bounded * (rho_star * e_star - rho * energy));
        flux[3 * S + i] = area * mass * yf;
        flux[4 * S + i] = area * mass * yb;
    }
}

/* conserved values at the end of the step beside those at its start (a step can be taken back), and the primitive ones from
 * them; returns the fastest rate */
static double update(long n, long S, const double *restrict old, double *restrict cells, const double *restrict flux, const double *restrict g,
                     const double *restrict wall, double dt, double *restrict wall_heat, double *restrict temps,
                     const gas_t *gas, double *restrict w)
{
    const double *per = g + VOLUME_INV * S, *src_m = wall + SRC_MOMENTUM * S, *src_e = wall + SRC_ENERGY * S;
    double a[10], f[10], b[10];
    differences(gas, a, f, b);
    double r0 = gas->r[0], r1 = gas->r[1] - r0, r2 = gas->r[2] - r0;
    const double *area = g + AREA * S, *inv = g + INV_LENGTH * S;
    double largest = 0.0;
#pragma GCC ivdep
    for (long i = 1; i < n - 1; i++) {
        double k = dt * per[i];
        double rho = old[i] + k * (flux[i] - flux[i + 1]);
        double momentum = old[S + i] + k * (flux[S + i] - flux[S + i + 1] + src_m[i]);
        double total = old[2 * S + i] + k * (flux[2 * S + i] - flux[2 * S + i + 1] + src_e[i]);
        double fuel = old[3 * S + i] + k * (flux[3 * S + i] - flux[3 * S + i + 1]);
        double burned = old[4 * S + i] + k * (flux[4 * S + i] - flux[4 * S + i + 1]);
        cells[i] = rho;
        cells[S + i] = momentum;
        cells[2 * S + i] = total;
        cells[3 * S + i] = fuel;
        cells[4 * S + i] = burned;
        wall_heat[i] += dt * src_e[i];
        double per_mass = 1.0 / rho;
        double u = momentum * per_mass, yf = fuel * per_mass, yb = burned * per_mass;
        double e = total * per_mass - 0.5 * u * u;
        MIXTURE(c, yf, yb);
        double t = temps[i], x = MAX(t - 1.0, 0.0);
        double has, cv;
        ENERGY_AND_CV(c, t, x, has, cv);
        double miss = e - has;
        double curve = 2.0 * c2 + t * (6.0 * c3 + t * (12.0 * c4 + t * 20.0 * c5));
        double above = 2.0 * c6 + x * (6.0 * c7 + x * (12.0 * c8 + x * 20.0 * c9));
        curve += t > 1.0 ? above : 0.0;
        t += miss * cv / (cv * cv + 0.5 * miss * curve);
        x = MAX(t - 1.0, 0.0);
        ENERGY_AND_CV(c, t, x, has, cv);
        miss = e - has;
        double per_cv = 1.0 / cv;
        t += miss * per_cv;
        temps[i] = t;
        double r = r0 + yf * r1 + yb * r2, grun = 1e3 * r * per_cv, rt = r * t * 1e3, sound2 = (1.0 + grun) * rt;
        w[RHO * S + i] = rho;
        w[FLOW * S + i] = u * area[i];
        w[PRES * S + i] = rho * rt;
        w[YF * S + i] = yf;
        w[YB * S + i] = yb;
        w[VEL * S + i] = u;
        w[TEMP * S + i] = t * 1e3;
        w[SOUND2 * S + i] = sound2;
        w[GRUN * S + i] = grun;
        double rate = (fabs(u) + sqrt(sound2)) * inv[i];
        largest = MAX(largest, rate);
    }
    return largest;
}

/* logarithm and power as plain arithmetic, as in waveflow/physics/vectors.py (the vector library is 1 % slower) */
static inline double log2_of(double x)
{
    const double k = 2.0 / LN2;
    int64_t bits, exponent;
    double m;
    memcpy(&bits, &x, 8);
    exponent = (bits - 0x3FE6A09E667F3BCD) >> 52;
    bits -= exponent << 52;
    memcpy(&m, &bits, 8);
    double s = (m - 1.0) / (m + 1.0), z = s * s;
    return exponent + s * (k + z * (k / 3 + z * (k / 5 + z * (k / 7 + z * (k / 9 + z * (k / 11))))));
}

static inline double exp2_of(double x)
{
    double whole = rint(MIN(MAX(x, -1000.0), 1000.0)), f = (x - whole) * LN2;
    double p = 1.0 + f * (1.0 + f * (1.0 / 2 + f * (1.0 / 6 + f * (1.0 / 24 + f * (1.0 / 120 + f * (1.0 / 720
               + f * (1.0 / 5040 + f * (1.0 / 40320 + f * (1.0 / 362880)))))))));
    int64_t bits;
    memcpy(&bits, &p, 8);
    bits += (int64_t)whole << 52;
    memcpy(&p, &bits, 8);
    return p;
}

static void wall_laws(long n, long S, const double *restrict g, const double *restrict w, const gas_t *gas, double *restrict wall)
{
    const double *hyd = g + HYDRAULIC * S, *rough = g + ROUGH * S, *wetted = g + WETTED * S, *loss = g + LOSS * S;
    double *friction = wall + FRICTION * S, *heat = wall + HEAT * S;
    const double haaland = -1.8 * log10(2.0);
#pragma GCC ivdep
    for (long i = 1; i < n - 1; i++) {
        double d = hyd[i], t = 1e-3 * w[TEMP * S + i];
        double mu = gas->mu[0] + t * (gas->mu[1] + t * gas->mu[2]), lam = gas->lam[0] + t * (gas->lam[1] + t * gas->lam[2]);
        double reynolds = MAX(w[RHO * S + i] * MAX(fabs(w[VEL * S + i]), 3.0) * d / mu, 1.0), enough = MAX(reynolds, 2000.0);
        double cp = gas->r[0] * (1.0 + 1.0 / w[GRUN * S + i]);
        double s = MIN(MAX((reynolds - 2000.0) / 2000.0, 0.0), 1.0), share = s * s * (3.0 - 2.0 * s);
        double root = haaland * log2_of(rough[i] + 6.9 / enough), smooth_root = haaland * log2_of(6.9 / enough);
        double smooth = 1.0 / (smooth_root * smooth_root), f = (1.0 - share) * 64.0 / reynolds + share / (root * root);
        friction[i] = 0.5 * f / d + loss[i];
        double log_prandtl = log2_of(mu * cp / lam);
        double gain = log2_of(MIN(MAX(f / smooth, 1.0), 4.0)) * 0.68 * exp2_of(0.215 * log_prandtl);
        double colburn = smooth / 8.0 * enough * exp2_of(log_prandtl / 3.0 + gain);
        heat[i] = ((1.0 - share) * 3.66 + share * MAX(colburn, 3.66)) * lam / d * 4.0 / d * wetted[i];
    }
}

static void ghosts(long far, long S, double *w, const double *weights)
{
    for (int side = 0; side < 2; side++) {
        long ghost = side ? far + 1 : 0, near_ = side ? far : 1, s = side ? -1 : 1;
        const double *p = w + PRES * S + near_;
        double low = MIN(MIN(p[0], p[s]), MIN(p[2 * s], p[3 * s]));
        int front = fabs(p[0] - p[s]) + fabs(p[s] - p[2 * s]) + fabs(p[2 * s] - p[3 * s]) > low;
        for (int k = 0; k < 5; k++) {
            double *row = w + k * S, value = 0.0;
            for (int j = 0; j < 4; j++)
                value += weights[4 * side + j] * row[near_ + j * s];
            row[ghost] = front ? row[near_] : value;
        }
        if (front)
            continue;
        double near = p[0], rho = w[RHO * S + near_], kappa = w[SOUND2 * S + near_] * rho / near;
        double pres = MIN(MAX(w[PRES * S + ghost], 0.3 * near), 3.0 * near);
        double isentropic = rho * (1.0 + (pres / near - 1.0) / kappa);
        w[PRES * S + ghost] = pres;
        w[RHO * S + ghost] = MIN(MAX(w[RHO * S + ghost], 0.65 * isentropic), 1.5 * isentropic);
        w[YF * S + ghost] = MIN(MAX(w[YF * S + ghost], 0.0), 1.0);
        w[YB * S + ghost] = MIN(MAX(w[YB * S + ghost], 0.0), 1.0);
    }
}

/* rows of `count` (or of `from`'s n) doubles, S apart, each with its second number on a cache line */
static double *rows(int count, long S, const double *from, long n)
{
    double *made = (double *)aligned_alloc(64, sizeof(double) * (count * S + 8)) + 7;
    memset(made - 7, 0, sizeof(double) * (count * S + 8));
    for (int k = 0; from && k < count; k++)
        memcpy(made + k * S, from + k * n, sizeof(double) * n);
    return made;
}

static void back(double *to, double *rows, int count, long S, long n)
{
    for (int k = 0; to && k < count; k++)
        memcpy(to + k * n, rows + k * S, sizeof(double) * n);
    free(rows - 7);
}

/* `count` steps; returns the time gone by [s]. Arrays as in layout.py; weights (2, 4) of the ghosts; wall_heat (n,) [J]. */
double steps(long n, long far, double *out_cells, double *out_temps, const double *geometry, const double *weights, const gas_t *gas,
             double cfl, long count, long wall_every, double *out_heat)
{
    long S = (n + 8) / 8 * 8;
    double *cells = rows(FIELDS, S, out_cells, n), *temps = rows(1, S, out_temps, n), *heat = rows(1, S, out_heat, n);
    double *other = rows(FIELDS, S, out_cells, n), *g = rows(GEOMETRY, S, geometry, n), *w = rows(PRIMITIVES, S, 0, 0), *wall = rows(SOURCES, S, 0, 0);
    double *half = rows(10, S, 0, 0), *flux = rows(FIELDS, S, 0, 0), *face = rows(1, S, g + AREA_L * S, n);
    double *widening = rows(1, S, 0, 0);
    for (long i = 0; i < n; i++)
        widening[i] = g[AREA_R * S + i] - g[AREA_L * S + i];
    face[far + 1] = g[AREA_R * S + far];
    for (int side = 0; side < 2; side++) /* states outside the ends, which no flux that counts will see */
        for (int k = 0; k < 10; k++)
            half[k * S + (side ? n - 1 : 1)] = k % 5 == 2 ? 1e5 : 1.0;
    double time = 0.0, rate = update(n, S, cells, other, flux, g, wall, 0.0, heat, temps, gas, w);
    for (long step = 0; step < count; step++) {
        double dt = cfl / rate;
        if (step % wall_every == 0)
            wall_laws(n, S, g, w, gas, wall);
        ghosts(far, S, w, weights);
        reconstruct(n, S, w, g, widening, wall, half, dt);
        fluxes(n, S, half, face, gas, flux);
        for (int side = 0; side < 2; side++) {
            long i = side ? far + 1 : 1, cell = side ? far : 1, from = side ? 0 : 5;
            double rho = half[from * S + i], u = half[(from + 1) * S + i], p = half[(from + 2) * S + i];
            double stopped = p + (side ? 1.0 : -1.0) * rho * u * sqrt(w[SOUND2 * S + cell]);
            for (int k = 0; k < FIELDS; k++)
                flux[k * S + i] = k == 1 ? face[i] * stopped : 0.0;
        }
        rate = update(n, S, cells, other, flux, g, wall, dt, heat, temps, gas, w);
        double *before = cells;
        cells = other, other = before;
        if (!(rate < 1e300))
            break;
        time += dt;
    }
    back(out_cells, cells, FIELDS, S, n), back(out_temps, temps, 1, S, n), back(out_heat, heat, 1, S, n);
    back(0, g, 0, 0, 0), back(0, w, 0, 0, 0), back(0, wall, 0, 0, 0), back(0, half, 0, 0, 0), back(0, flux, 0, 0, 0);
    back(0, other, 0, 0, 0), back(0, face, 0, 0, 0), back(0, widening, 0, 0, 0);
    return time;
}
