/* What the processor can do at most: multiply-adds in registers, and a triad streaming through a working set. */

typedef double vector __attribute__((vector_size(64)));

/* 2 flops x 8 lanes x 12 chains a turn; returns a number that depends on all of them */
double multiply_add(long turns)
{
    vector sum[12], factor = {0.999, 0.998, 0.997, 0.996, 0.995, 0.994, 0.993, 0.992}, more = factor * 1e-3;
    for (int k = 0; k < 12; k++)
        sum[k] = factor * (k + 1);
    for (long i = 0; i < turns; i++)
        for (int k = 0; k < 12; k++)
            sum[k] = sum[k] * factor + more;
    double total = 0.0;
    for (int k = 0; k < 12; k++)
        for (int j = 0; j < 8; j++)
            total += sum[k][j];
    return total;
}

/* 24 bytes an element a turn */
double triad(long n, long turns, double *restrict a, const double *restrict b, const double *restrict c)
{
    for (long i = 0; i < turns; i++) {
        for (long k = 0; k < n; k++)
            a[k] = b[k] + 0.5 * c[k];
        __asm__ volatile("" : : "r"(a) : "memory");
    }
    return a[n / 2];
}
