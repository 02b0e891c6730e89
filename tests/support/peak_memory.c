/* usage: peak_memory PROGRAM ARGUMENTS...
 * Runs the program, says its peak of resident memory in KiB as the last line on standard error, and ends with
 * its status. A small program of its own, because the peak of a child also counts what its parent held when
 * it was forked.
 */
#include <stdio.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

int main(int count, char** arguments) {
  if (count < 2) return 2;
  const pid_t child = fork();
  if (child < 0) return 2;
  if (child == 0) {
    execv(arguments[1], arguments + 1);
    _exit(127);
  }
  int status = 0;
  struct rusage usage;
  if (wait4(child, &status, 0, &usage) != child) return 2;
  fprintf(stderr, "%ld\n", usage.ru_maxrss);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}
