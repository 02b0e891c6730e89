#include "calseal/base/other_core.h"

#ifdef __linux__
#include <pthread.h>
#include <sched.h>
#else
#include <system_error>
#endif

namespace calseal {

namespace {

thread_local int cores_taken = 0;

}  // namespace

CoresTaken::CoresTaken() { ++cores_taken; }
CoresTaken::~CoresTaken() { --cores_taken; }

bool OtherCore::is_there() {
  static const bool kThere = std::thread::hardware_concurrency() > 1;
  return kThere && cores_taken == 0;
}

#ifdef __linux__

namespace {

void* run(void* work) {
  (*static_cast<std::function<void()>*>(work))();
  return nullptr;
}

// Leaves the attributes as they are where the other cores cannot be told: the thread is an ordinary one then.
void keep_off_this_core(pthread_attr_t& attributes) {
  cpu_set_t cores;
  CPU_ZERO(&cores);
  const int here = sched_getcpu();
  if (here < 0 || here >= CPU_SETSIZE || sched_getaffinity(0, sizeof(cores), &cores) != 0) return;
  CPU_CLR(static_cast<unsigned>(here), &cores);
  if (CPU_COUNT(&cores) > 0) pthread_attr_setaffinity_np(&attributes, sizeof(cores), &cores);
}

}  // namespace

bool OtherCore::start(std::function<void()> work) {
  if (started_ || !is_there()) return false;
  work_ = std::move(work);
  pthread_attr_t attributes;
  if (pthread_attr_init(&attributes) != 0) return false;
  keep_off_this_core(attributes);
  started_ = pthread_create(&thread_, &attributes, run, &work_) == 0;
  pthread_attr_destroy(&attributes);
  return started_;
}

void OtherCore::join() {
  if (started_) pthread_join(thread_, nullptr);
  started_ = false;
}

#else

bool OtherCore::start(std::function<void()> work) {
  if (started_ || !is_there()) return false;
  work_ = std::move(work);
  try {
    thread_ = std::thread([this] { work_(); });
    started_ = true;
  } catch (const std::system_error&) {
    // No thread to be had.
  }
  return started_;
}

void OtherCore::join() {
  if (started_) thread_.join();
  started_ = false;
}

#endif

}  // namespace calseal
