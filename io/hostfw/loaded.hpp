// A shared object with firmware in this process.
#pragma once

#include <string>

#include "io/hostfw/stillrotor_firmware.h"

namespace stillrotor::io::hostfw {

class Loaded {
 public:
  Loaded() = default;
  ~Loaded() { unload(); }
  Loaded(const Loaded&) = delete;
  Loaded& operator=(const Loaded&) = delete;

  /// Empty: it is there. Else what is wrong and the remedy, one sentence each.
  std::string load(const char* file) noexcept;
  /// False: the system keeps it in memory, so that loading it again would not reset it.
  bool unload() noexcept;

  const sr_firmware* firmware() const noexcept { return firmware_; }

 private:
  std::string file_;
  void* object_ = nullptr;
  const sr_firmware* firmware_ = nullptr;
};

}  // namespace stillrotor::io::hostfw
