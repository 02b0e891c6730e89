// Contenders that take turns, and the median time of each: whatever slows the machine slows all of them.
#pragma once

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <ctime>
#include <functional>
#include <string>
#include <vector>

namespace calseal {

struct Contender {
  std::string name;
  std::function<void()> run;
  std::function<void()> prepare = [] {};  // before every run, unmeasured
  double seconds = 0;                     // median wall time of one run; set by time_in_turns()
  double processor_seconds = 0;           // median of what all threads of the process spent on it
};

inline double processor_time() {
  std::timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

inline double median_of(std::vector<double>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::ranges::nth_element(values, middle);
  return *middle;
}

// Runs every contender once unmeasured, then `rounds` times in turns.
inline void time_in_turns(std::vector<Contender>& contenders, std::size_t rounds) {
  std::vector<std::vector<double>> times(contenders.size()), processor_times(contenders.size());
  for (const Contender& contender : contenders) contender.prepare(), contender.run();
  for (std::size_t round = 0; round < rounds; ++round) {
    for (std::size_t i = 0; i < contenders.size(); ++i) {
      contenders[i].prepare();
      const double processor_start = processor_time();
      const auto start = std::chrono::steady_clock::now();
      contenders[i].run();
      times[i].push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
      processor_times[i].push_back(processor_time() - processor_start);
    }
  }
  for (std::size_t i = 0; i < contenders.size(); ++i) {
    contenders[i].seconds = median_of(times[i]);
    contenders[i].processor_seconds = median_of(processor_times[i]);
  }
}

}  // namespace calseal
