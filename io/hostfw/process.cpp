// Firmware in a process of its own: the bench's side. A fresh process is a fresh start; what the
// firmware does to its memory stays in there.
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <new>
#include <optional>
#include <system_error>
#include <vector>

#include "io/hostfw/host.hpp"
#include "io/hostfw/process_limits.hpp"
#include "io/hostfw/turns.hpp"

extern char** environ;

namespace stillrotor::io::hostfw {
namespace {

constexpr std::int64_t look_ns = 10'000'000;  // between two looks after a process that is silent
constexpr int most_questions = 10'000;        // of one interrupt: more is a loop
constexpr double waits_for_cpu = 10.0;        // times its patience, of the wall's clock

double seconds(const timespec& t) noexcept {
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

/// Beside the running program, in an installation's libexec, or where it was built.
std::filesystem::path program() {
  constexpr std::string_view name = "stillrotor_firmware_process";
  std::error_code error;
  const std::filesystem::path self =
      std::filesystem::read_symlink("/proc/self/exe", error).parent_path();
  for (const std::filesystem::path& file :
       {self / name, self.parent_path() / "libexec" / "stillrotor" / name,
        std::filesystem::path(STILLROTOR_FIRMWARE_PROCESS)})
    if (access(file.c_str(), X_OK) == 0) return file;
  throw ConfigError("controller.backend",
                    "controller.backend is hostfw, and " + std::string(name) + " lies neither in " +
                        self.string() +
                        " nor in libexec/stillrotor beside it. Install the program "
                        "as a whole, or set controller.in_process: on.");
}

[[noreturn]] void no_resource(const char* what) {
  const int error = errno;
  throw ConfigError("controller.backend", std::string("controller.backend is hostfw; ") + what +
                                              " failed: " + std::generic_category().message(error) +
                                              ". Free memory or processes and try again.");
}

class File {
 public:
  explicit File(const char* name) : fd_(memfd_create(name, MFD_CLOEXEC)) {
    if (fd_ < 0) no_resource("memory for its process");
  }
  ~File() { close(fd_); }
  File(const File&) = delete;
  File& operator=(const File&) = delete;
  int fd() const noexcept { return fd_; }

 private:
  int fd_;
};

const char* interrupt_name(Call call) noexcept {
  switch (call) {
    case Call::reset:
      return "reset";
    case Call::valley:
      return "valley";
    case Call::crest:
      return "crest";
    case Call::timer:
      return "timer";
    case Call::edge:
      return "edge";
    case Call::read_setting:
    case Call::write_setting:
    case Call::none:
      break;
  }
  return "loading";
}

class ProcessHost final : public FirmwareHost {
 public:
  explicit ProcessHost(const HostFirmwareConfig& config)
      : config_(config), program_(program()), shared_("stillrotor mailbox") {
    if (ftruncate(shared_.fd(), sizeof(Mailbox)) != 0) no_resource("memory for its mailbox");
    void* memory =
        mmap(nullptr, sizeof(Mailbox), PROT_READ | PROT_WRITE, MAP_SHARED, shared_.fd(), 0);
    if (memory == MAP_FAILED) no_resource("memory for its mailbox");
    box_ = new (memory) Mailbox;
  }
  ~ProcessHost() override {
    stop();
    munmap(box_, sizeof(Mailbox));
  }
  ProcessHost(const ProcessHost&) = delete;
  ProcessHost& operator=(const ProcessHost&) = delete;

  void start() override {
    stop();
    console_ = std::make_unique<File>("firmware console");
    new (box_) Mailbox;
    box_->turn.store(firmware_side);
    turns_.emplace(*box_, bench_side);
    spawn();
    if (wait() && box_->answer == Answer::ready) return;
    const std::string why = box_->answer == Answer::unfit ? box_->words.data() : diagnosis_;
    stop();
    throw ConfigError("controller.firmware",
                      "controller.firmware is " + config_.firmware.string() + "; " + why);
  }

  bool call(Questions& questions) noexcept override {
    for (int asked = 0;; ++asked) {
      turns_->hand_over();
      if (!wait()) return false;
      switch (box_->answer) {
        case Answer::done:
          return true;
        case Answer::volts:
        case Answer::room:
          if (asked == most_questions) {
            fail(Health::hung,
                 "it asked the bench " + number(most_questions) +
                     " times and does not return; time stands still while an interrupt runs, so "
                     "what it waits for cannot come");
            return false;
          }
          questions.answer(*box_);
          continue;
        case Answer::nonsense:
          box_->words.back() = '\0';
          fail(Health::crashed, box_->words.data());
          return false;
        case Answer::signal:
          died_of_signal(static_cast<int>(box_->signal));
          return false;
        default:
          fail(Health::crashed, "it wrote over what it shares with the bench");
          return false;
      }
    }
  }

  void stop() noexcept override {
    if (child_ <= 0) return;
    kill(child_, SIGKILL);
    int status = 0;
    while (waitpid(child_, &status, 0) < 0 && errno == EINTR) {
    }
    child_ = 0;
  }

  Mailbox& mailbox() noexcept override { return *box_; }
  Health health() const noexcept override { return health_; }
  const std::string& diagnosis() const noexcept override { return diagnosis_; }

 private:
  void spawn() {
    posix_spawn_file_actions_t files;
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_addopen(&files, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_adddup2(&files, console_->fd(), 1);
    posix_spawn_file_actions_adddup2(&files, console_->fd(), 2);
    posix_spawn_file_actions_adddup2(&files, shared_.fd(), mailbox_file);
    posix_spawnattr_t how;
    posix_spawnattr_init(&how);
    sigset_t none;
    sigemptyset(&none);
    posix_spawnattr_setsigmask(&how, &none);
    // A group of its own: the terminal's Ctrl-C is for the bench.
    posix_spawnattr_setflags(&how, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK);
    std::string name = program_.string(), file = config_.firmware.string();
    char* const arguments[] = {name.data(), file.data(), nullptr};
    pid_t child = 0;
    const int error = posix_spawn(&child, name.c_str(), &files, &how, arguments, environ);
    posix_spawnattr_destroy(&how);
    posix_spawn_file_actions_destroy(&files);
    if (error != 0) {
      errno = error;
      no_resource("starting its process");
    }
    child_ = child;
    const auto limit = [child](__rlimit_resource what, std::size_t most) {
      const rlimit both{most, most};
      prlimit(child, what, &both, nullptr);
    };
    if (limits_memory) limit(RLIMIT_AS, config_.most_memory_bytes);
    limit(RLIMIT_FSIZE, console_most_bytes);
    limit(RLIMIT_CORE, 0);
  }

  /// Until the firmware has had its turn. False: it is dead, or takes too long.
  bool wait() noexcept {
    if (turns_->wait(look_ns)) return true;
    const double began_cpu_s = cpu_s(), began_wall_s = wall_s();
    do {
      int status = 0;
      if (waitpid(child_, &status, WNOHANG) == child_) {
        child_ = 0;
        if (box_->turn.load() == bench_side) break;  // its last words
        died(status);
        return false;
      }
      const bool busy = cpu_s() - began_cpu_s > config_.patience_s;
      if (!busy && wall_s() - began_wall_s < waits_for_cpu * config_.patience_s) continue;
      hung(busy);
      return false;
    } while (!turns_->wait(look_ns));
    return true;
  }

  double cpu_s() const noexcept {
    clockid_t clock{};
    timespec t{};
    if (clock_getcpuclockid(child_, &clock) != 0 || clock_gettime(clock, &t) != 0) return 0.0;
    return seconds(t);
  }
  static double wall_s() noexcept {
    timespec t{};
    clock_gettime(CLOCK_MONOTONIC, &t);
    return seconds(t);
  }

  void hung(bool busy) noexcept {
    const std::string how =
        busy ? "it computes for over " + number(config_.patience_s) + " s and does not return"
             : "it waits for over " + number(waits_for_cpu * config_.patience_s) +
                   " s for something that does not come";
    const bool full = at_memory_limit(memory_bytes());
    stop();
    fail(Health::hung, how + (full ? memory_note() : ""));
  }

  void died(int status) noexcept {
    if (WIFSIGNALED(status)) {
      if (WTERMSIG(status) == SIGKILL)
        return fail(Health::crashed, "its process was killed from outside (SIGKILL)");
      return died_of_signal(WTERMSIG(status));
    }
    fail(Health::crashed, "it ended its process with exit status " +
                              std::to_string(WEXITSTATUS(status)) + "; firmware has nowhere to go");
  }

  void died_of_signal(int signal) noexcept {
    std::string what;
    switch (signal) {
      case SIGSEGV:
      case SIGBUS: {
        char text[64];
        std::snprintf(text, sizeof text, " (address 0x%llx)",
                      static_cast<unsigned long long>(box_->address));
        what = std::string("it touched memory that is not its own") + text;
        break;
      }
      case SIGABRT:
        what = "it called abort()";
        break;
      case SIGFPE:
        what = "it divided an integer by zero";
        break;
      case SIGILL:
      case SIGTRAP:
        what = "it executed what is no instruction, or a trap";
        break;
      case SIGXFSZ:
        what = "it printed more than " + std::to_string(console_most_bytes >> 20) + " MiB";
        break;
      default:
        what = "it died of signal " + std::to_string(signal);
    }
    box_->words.back() = '\0';
    if (box_->answer == Answer::signal && box_->words[0] != '\0')
      what += std::string(", in ") + box_->words.data();
    if (box_->answer == Answer::signal && at_memory_limit(box_->memory_bytes))
      what += memory_note();
    stop();
    fail(Health::crashed, what);
  }

  bool at_memory_limit(std::uint64_t bytes) const noexcept {
    return limits_memory && 10 * bytes > 9 * config_.most_memory_bytes;
  }
  std::string memory_note() const {
    return "; its memory had grown to the limit of " +
           std::to_string(config_.most_memory_bytes >> 20) + " MiB";
  }
  std::uint64_t memory_bytes() const noexcept {
    const std::string path = "/proc/" + std::to_string(child_) + "/statm";
    char text[64] = {};
    const int file = open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (file < 0) return 0;
    const bool there = read(file, text, sizeof text - 1) > 0;
    close(file);
    return there ? std::strtoull(text, nullptr, 10) *
                       static_cast<std::uint64_t>(sysconf(_SC_PAGESIZE))
                 : 0;
  }
  static std::string number(double x) {
    char text[32];
    std::snprintf(text, sizeof text, "%g", x);
    return text;
  }

  /// What it printed last says most: an assertion, a sanitizer's report.
  std::string last_line() const {
    std::string text(400, '\0');
    const off_t size = lseek(console_->fd(), 0, SEEK_END);
    const off_t from =
        size > static_cast<off_t>(text.size()) ? size - static_cast<off_t>(text.size()) : 0;
    const ssize_t got = pread(console_->fd(), text.data(), text.size(), from);
    text.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
    while (!text.empty() && text.back() == '\n') text.pop_back();
    return text.substr(text.rfind('\n') + 1);
  }

  void fail(Health health, const std::string& why) noexcept {
    health_ = health;
    diagnosis_ = std::string("in its ") + interrupt_name(box_->call) + " interrupt " + why;
    if (box_->call == Call::none) diagnosis_ = "while it was loaded, " + why;
    if (box_->call == Call::read_setting || box_->call == Call::write_setting)
      diagnosis_ = "while its settings were read and written, " + why;
    if (const std::string line = last_line(); !line.empty())
      diagnosis_ += ". Its last line: " + line;
    stop();
  }

  HostFirmwareConfig config_;
  std::filesystem::path program_;
  File shared_;
  std::unique_ptr<File> console_;
  Mailbox* box_ = nullptr;
  std::optional<Turns> turns_;
  pid_t child_ = 0;
  Health health_ = Health::running;
  std::string diagnosis_;
};

}  // namespace

std::unique_ptr<FirmwareHost> make_process_host(const HostFirmwareConfig& config) {
  return std::make_unique<ProcessHost>(config);
}

}  // namespace stillrotor::io::hostfw
