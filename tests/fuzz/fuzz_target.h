// What a fuzz target defines and a fuzzer, or replay_main.cc, calls. (libFuzzer's own name and form.)
#pragma once

#include <cstddef>
#include <cstdint>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
