// What people see of a run while it goes on: one live line on a terminal, plain lines elsewhere,
// what the scenario does and what happens, and log.txt. Passes everything on to the record.
// Threads: progress() may come from another than the rest.
#pragma once

#include <chrono>
#include <filesystem>
#include <memory>
#include <mutex>
#include <span>
#include <string>
#include <string_view>

#include "emulator/handover/frame.hpp"

namespace spdlog {
class logger;
}

namespace stillrotor {

class RunWatch final : public RunSink {
 public:
  enum class Voice { quiet, lines, live };
  /// quiet, or as stderr is: live on a terminal.
  static Voice voice(bool quiet);

  /// Throws std::runtime_error: the log cannot be written.
  RunWatch(RunSink& record, const std::filesystem::path& log_file, double lasts_s, Voice);
  ~RunWatch() override;

  void frame(const Frame& f) noexcept override {
    latest_ = f;
    record_.frame(f);
  }
  void edge(const LineEdge& e) noexcept override { record_.edge(e); }
  void edges(std::span<const LineEdge> several) noexcept override { record_.edges(several); }
  void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps) noexcept override;

  /// more: ends the line.
  void progress(double model_s, double speed_rad_s, double current_peak_A,
                std::string_view more = {});
  spdlog::logger& log() noexcept { return *log_; }
  /// For the thread that gives the frames.
  const Frame& latest() const noexcept { return latest_; }

 private:
  using Clock = std::chrono::steady_clock;

  void clear_line();

  RunSink& record_;
  Frame latest_;
  std::shared_ptr<spdlog::logger> log_;
  double lasts_s_;
  Voice voice_;
  std::mutex speaking_;
  int said_ = 0;  // lines on what happens
  bool line_stands_ = false;
  Clock::time_point begin_ = Clock::now(), told_ = begin_;
};

}  // namespace stillrotor
