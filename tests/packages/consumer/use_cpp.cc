// The check value of CRC-16/IBM-3740, and the verdict on nothing.
#include <cstdio>

#include "calseal/api/calseal.h"

int main() {
  const calseal::Crc crc({16, 0x1021, 0xffff, false, false, 0});
  const calseal::Bytes digits{'1', '2', '3', '4', '5', '6', '7', '8', '9'};
  const calseal::api::Verdict verdict = calseal::api::check({});
  std::printf("%04llx %s\n", static_cast<unsigned long long>(crc.compute(digits)),
              verdict.outcome == calseal::api::Outcome::kRefused ? "refused" : "otherwise");
}
