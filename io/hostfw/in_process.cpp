// Firmware in the bench's own process: a call is a call, and nothing is caught.
#include <algorithm>
#include <mutex>
#include <vector>

#include "io/hostfw/board.hpp"
#include "io/hostfw/host.hpp"
#include "io/hostfw/loaded.hpp"

namespace stillrotor::io::hostfw {
namespace {

/// One object has one set of variables: a second controller would share them.
class Taken {
 public:
  bool take(const std::filesystem::path& file) {
    const std::lock_guard hold(lock_);
    if (std::find(files_.begin(), files_.end(), file) != files_.end()) return false;
    files_.push_back(file);
    return true;
  }
  void give_back(const std::filesystem::path& file) {
    const std::lock_guard hold(lock_);
    std::erase(files_, file);
  }

 private:
  std::mutex lock_;
  std::vector<std::filesystem::path> files_;
};
Taken& taken() {
  static Taken files;
  return files;
}

class InProcess final : public FirmwareHost {
 public:
  explicit InProcess(const HostFirmwareConfig& config)
      : config_(config),
        board_(
            box_, [](void* self) noexcept { as_host(self).ask(); }, this) {}
  ~InProcess() override { stop(); }

  void start() override {
    if (stuck_)
      throw ConfigError("controller.firmware",
                        "controller.firmware is " + config_.firmware.string() +
                            ", which the system keeps in memory, so that a second start would not "
                            "find its variables as the linker left them. Compile C++ with "
                            "-fno-gnu-unique, or set controller.in_process: off.");
    if (!taken().take(config_.firmware))
      throw ConfigError("controller.firmware",
                        "controller.firmware is " + config_.firmware.string() +
                            ", which another controller of this process has loaded already, and "
                            "they would share its variables. Set controller.in_process: off.");
    running_ = true;
    const std::string fault = loaded_.load(config_.firmware.c_str());
    if (fault.empty()) return;
    stop();
    throw ConfigError("controller.firmware",
                      "controller.firmware is " + config_.firmware.string() + "; " + fault);
  }

  bool call(Questions& questions) noexcept override {
    questions_ = &questions;
    board_.serve(*loaded_.firmware());
    if (box_.answer == Answer::done) return true;
    health_ = Health::crashed;
    diagnosis_ = box_.words.data();
    return false;
  }

  void stop() noexcept override {
    if (!running_) return;
    running_ = false;
    stuck_ = !loaded_.unload();
    if (!stuck_) taken().give_back(config_.firmware);
  }

  Mailbox& mailbox() noexcept override { return box_; }
  Health health() const noexcept override { return health_; }
  const std::string& diagnosis() const noexcept override { return diagnosis_; }

 private:
  static InProcess& as_host(void* self) noexcept { return *static_cast<InProcess*>(self); }
  void ask() noexcept { questions_->answer(box_); }

  HostFirmwareConfig config_;
  Mailbox box_;
  Board board_;
  Loaded loaded_;
  Questions* questions_ = nullptr;
  bool running_ = false, stuck_ = false;
  Health health_ = Health::running;
  std::string diagnosis_;
};

}  // namespace

std::unique_ptr<FirmwareHost> make_in_process_host(const HostFirmwareConfig& config) {
  return std::make_unique<InProcess>(config);
}

}  // namespace stillrotor::io::hostfw
