#include <calseal/capi/calseal.h>
#include <stdio.h>

int main(void) {
  puts(calseal_version());
  return 0;
}
