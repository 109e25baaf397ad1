/* What this processor can do, as the levels of the x86-64 psABI: 2, 3 or 4; 0 elsewhere. */

#define API __attribute__((visibility("default")))

API int lookkit_level(void)
{
#if defined(__x86_64__)
    __builtin_cpu_init();
    if (!__builtin_cpu_supports("avx2") || !__builtin_cpu_supports("fma")
        || !__builtin_cpu_supports("bmi") || !__builtin_cpu_supports("bmi2"))
        return 2;
    if (!__builtin_cpu_supports("avx512f") || !__builtin_cpu_supports("avx512bw")
        || !__builtin_cpu_supports("avx512cd") || !__builtin_cpu_supports("avx512dq")
        || !__builtin_cpu_supports("avx512vl"))
        return 3;
    return 4;
#else
    return 0;
#endif
}
