// Contenders that take turns, and the median time of each: whatever slows the machine slows all of them.
#pragma once

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <functional>
#include <string>
#include <vector>

namespace calseal {

struct Contender {
  std::string name;
  std::function<void()> run;
  std::function<void()> prepare = [] {};  // before every run, unmeasured
  double seconds = 0;                     // median wall time of one run; set by time_in_turns()
};

// Runs every contender once unmeasured, then `rounds` times in turns.
inline void time_in_turns(std::vector<Contender>& contenders, std::size_t rounds) {
  std::vector<std::vector<double>> times(contenders.size());
  for (const Contender& contender : contenders) contender.prepare(), contender.run();
  for (std::size_t round = 0; round < rounds; ++round) {
    for (std::size_t i = 0; i < contenders.size(); ++i) {
      contenders[i].prepare();
      const auto start = std::chrono::steady_clock::now();
      contenders[i].run();
      times[i].push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    }
  }
  for (std::size_t i = 0; i < contenders.size(); ++i) {
    const auto middle = times[i].begin() + static_cast<std::ptrdiff_t>(times[i].size() / 2);
    std::ranges::nth_element(times[i], middle);
    contenders[i].seconds = *middle;
  }
}

}  // namespace calseal
