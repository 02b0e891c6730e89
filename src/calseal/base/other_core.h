// A second thread that begins at once.
#pragma once

#include <functional>
#include <thread>

namespace calseal {

// While one lives, its thread starts nothing on other cores: they have work of their own already.
class CoresTaken {
 public:
  CoresTaken();
  ~CoresTaken();
  CoresTaken(const CoresTaken&) = delete;
  CoresTaken& operator=(const CoresTaken&) = delete;
};

// Runs one piece of work on another core than the caller's. A scheduler may leave a new thread on the core of
// the one that made it until its next look around, some milliseconds later; by then a short piece of work is
// done. So the thread is kept off that core where the system allows to say so (Linux), and is an ordinary
// thread elsewhere.
class OtherCore {
 public:
  OtherCore() = default;
  ~OtherCore() { join(); }
  OtherCore(const OtherCore&) = delete;
  OtherCore& operator=(const OtherCore&) = delete;

  // Begins `work`, which must throw nothing and stay valid until join(). Without a second core or a thread to
  // be had nothing is begun, and the answer is false. Once between two joins.
  bool start(std::function<void()> work);
  // Waits for the end of what was started, if anything was.
  void join();
  bool started() const { return started_; }

  // Whether the process may use a second core, and this thread may ask for it.
  static bool is_there();

 private:
  std::function<void()> work_;
  bool started_ = false;
#ifdef __linux__
  pthread_t thread_{};
#else
  std::thread thread_;
#endif
};

}  // namespace calseal
