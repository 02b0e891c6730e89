/* Preloaded into a program under test: makes its n-th call of write, pwrite, ftruncate, fsync, rename, link or close fail, or
 * stops the program there with a signal. Calls are counted together, in the order made.
 *
 *   FAIL_NTH_CALL=n    which call, from 1
 *   FAIL_WITH=errno    fail with this number (default: ENOSPC); the call is not made, a file is closed all
 * the same FAIL_SIGNAL=s      instead: raise this signal just before the call FAIL_LOG=file      created when
 * the n-th call came, so that a loop knows when it has seen all
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <unistd.h>

static long number_from(const char* name, long otherwise) {
  const char* text = getenv(name);
  return text == NULL ? otherwise : strtol(text, NULL, 10);
}

/* 1 when this call is to fail; errno is set then. */
static long calls = 0;

static int falls_here(void) {
  if (++calls != number_from("FAIL_NTH_CALL", 0)) return 0;
  const char* log = getenv("FAIL_LOG");
  if (log != NULL) {
    const int fd = (int)syscall(SYS_openat, AT_FDCWD, log, O_CREAT | O_WRONLY | O_CLOEXEC, 0600);
    if (fd >= 0) syscall(SYS_close, fd);
  }
  const long number = number_from("FAIL_SIGNAL", 0);
  if (number != 0) {
    kill(getpid(), (int)number);
    return 0; /* a blocked signal comes later */
  }
  errno = (int)number_from("FAIL_WITH", ENOSPC);
  return 1;
}

ssize_t write(int fd, const void* bytes, size_t size) {
  if (falls_here()) return -1;
  return syscall(SYS_write, fd, bytes, size);
}

/* The one that falls has written half of its bytes. */
static ssize_t write_at(int fd, const void* bytes, size_t size, off_t at) {
  if (calls + 1 == number_from("FAIL_NTH_CALL", 0)) syscall(SYS_pwrite64, fd, bytes, size / 2, at);
  if (falls_here()) return -1;
  return syscall(SYS_pwrite64, fd, bytes, size, at);
}
ssize_t pwrite(int fd, const void* bytes, size_t size, off_t at) { return write_at(fd, bytes, size, at); }
ssize_t pwrite64(int fd, const void* bytes, size_t size, off_t at) { return write_at(fd, bytes, size, at); }

static int cut(int fd, off_t size) {
  if (falls_here()) return -1;
  return (int)syscall(SYS_ftruncate, fd, size);
}
int ftruncate(int fd, off_t size) { return cut(fd, size); }
int ftruncate64(int fd, off_t size) { return cut(fd, size); }

int fsync(int fd) {
  if (falls_here()) return -1;
  return (int)syscall(SYS_fsync, fd);
}

int close(int fd) {
  if (falls_here()) {
    const int number = errno;
    syscall(SYS_close, fd);
    errno = number;
    return -1;
  }
  return (int)syscall(SYS_close, fd);
}

int rename(const char* from, const char* to) {
  if (falls_here()) return -1;
  return (int)syscall(SYS_renameat2, AT_FDCWD, from, AT_FDCWD, to, 0);
}

int renameat2(int from_folder, const char* from, int to_folder, const char* to, unsigned int flags) {
  if (falls_here()) return -1;
  return (int)syscall(SYS_renameat2, from_folder, from, to_folder, to, flags);
}

int link(const char* from, const char* to) {
  if (falls_here()) return -1;
  return (int)syscall(SYS_linkat, AT_FDCWD, from, AT_FDCWD, to, 0);
}
