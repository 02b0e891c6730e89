// A clock that a test sets, for programs that take the time from the machine. It is preloaded (LD_PRELOAD);
// until calseal_set_clock() is called the time is the machine's.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <time.h>

static long long set_to = -1;

void calseal_set_clock(long long seconds) { set_to = seconds; }

int clock_gettime(clockid_t which, struct timespec* now) {
  static int (*machine)(clockid_t, struct timespec*);
  if (which == CLOCK_REALTIME && set_to >= 0) {
    now->tv_sec = set_to;
    now->tv_nsec = 0;
    return 0;
  }
  if (!machine) machine = (int (*)(clockid_t, struct timespec*))dlsym(RTLD_NEXT, "clock_gettime");
  return machine(which, now);
}
