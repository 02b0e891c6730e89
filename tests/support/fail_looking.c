/* Preloaded into a program under test: a folder's listing breaks off, or a name in it cannot be looked at.
 *
 *   FAIL_READDIR=n    the n-th call of readdir, from 1, and those after it fail
 *   FAIL_LOOK=name    fstatat fails for this name
 *   FAIL_OPEN=name    opening a file or folder of this name for reading fails
 * All with FAIL_WITH=errno (default: EIO).
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

static long number_from(const char* name, long otherwise) {
  const char* text = getenv(name);
  return text == NULL ? otherwise : strtol(text, NULL, 10);
}

static int fails(void) {
  errno = (int)number_from("FAIL_WITH", EIO);
  return -1;
}

static int is_named(const char* variable, const char* path) {
  const char* name = getenv(variable);
  const char* slash = strrchr(path, '/');
  return name != NULL && strcmp(slash == NULL ? path : slash + 1, name) == 0;
}

static long readings = 0;

struct dirent* readdir(DIR* folder) {
  const long last = number_from("FAIL_READDIR", 0);
  if (last != 0 && ++readings >= last) {
    fails();
    return NULL;
  }
  return ((struct dirent * (*)(DIR*)) dlsym(RTLD_NEXT, "readdir"))(folder);
}
struct dirent64* readdir64(DIR* folder) {
  return (struct dirent64*)readdir(folder);
}

int fstatat(int folder, const char* name, struct stat* status, int flags) {
  if (is_named("FAIL_LOOK", name)) return fails();
  return ((int (*)(int, const char*, struct stat*, int))dlsym(RTLD_NEXT, "fstatat"))(folder, name, status,
                                                                                     flags);
}
int fstatat64(int folder, const char* name, struct stat64* status, int flags) {
  return fstatat(folder, name, (struct stat*)status, flags);
}

static int open_it(const char* path, int flags, mode_t mode) {
  if ((flags & O_ACCMODE) == O_RDONLY && is_named("FAIL_OPEN", path)) return fails();
  return (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}

/* Only then is a mode given. */
static int makes_file(int flags) { return (flags & O_CREAT) != 0 || (flags & O_TMPFILE) == O_TMPFILE; }

int open(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const mode_t mode = makes_file(flags) ? va_arg(more, mode_t) : 0;
  va_end(more);
  return open_it(path, flags, mode);
}
int open64(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const mode_t mode = makes_file(flags) ? va_arg(more, mode_t) : 0;
  va_end(more);
  return open_it(path, flags, mode);
}
