#include "emulator/cli/run_watch.hpp"

#include <fmt/core.h>
#include <spdlog/sinks/basic_file_sink.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <numbers>

namespace stillrotor {
namespace {

constexpr auto plain_line_every = std::chrono::seconds(5);
constexpr int said_most = 40;  // a terminal is no place for more; log.txt has them all

std::string_view name(MarkKind kind) noexcept {
  switch (kind) {
    case MarkKind::action:
      return "action";
    case MarkKind::fault:
      return "fault";
    case MarkKind::event:
      return "event";
    case MarkKind::text:
      return "text";
    case MarkKind::gap:
      return "gap";
  }
  return "";
}

}  // namespace

RunWatch::Voice RunWatch::voice(bool quiet) {
  if (quiet) return Voice::quiet;
  return isatty(STDERR_FILENO) == 1 ? Voice::live : Voice::lines;
}

RunWatch::RunWatch(RunSink& record, const std::filesystem::path& log_file, double lasts_s,
                   Voice voice)
    : record_(record),
      log_(std::make_shared<spdlog::logger>(
          "run", std::make_shared<spdlog::sinks::basic_file_sink_mt>(log_file.string(), true))),
      lasts_s_(lasts_s),
      voice_(voice) {
  log_->set_pattern("%Y-%m-%dT%H:%M:%S.%e %l %v");
  log_->flush_on(spdlog::level::info);
}

RunWatch::~RunWatch() { clear_line(); }

void RunWatch::mark(MarkKind kind, std::int64_t at_ps, std::string_view what,
                    std::string_view detail, std::int64_t to_ps) noexcept {
  record_.mark(kind, at_ps, what, detail, to_ps);
  const double at_s = static_cast<double>(at_ps) / 1e12;
  // An action's label says its name again.
  std::string said(detail.substr(0, detail.find_last_not_of("\r\n") + 1));
  if (!detail.starts_with(what)) said.insert(0, detail.empty() ? "" : ": ").insert(0, what);
  log_->info("{:.9f} s {} {}", at_s, name(kind), said);
  const std::lock_guard speaking(speaking_);
  if (voice_ == Voice::quiet || kind == MarkKind::text || ++said_ > said_most) return;
  clear_line();
  fmt::print(stderr, "{:10.6f} s  {}\n", at_s, said);
  if (said_ == said_most) fmt::print(stderr, "{:12}  more of this in log.txt\n", "");
}

void RunWatch::progress(double model_s, double speed_rad_s, double current_peak_A,
                        std::string_view more) {
  if (voice_ == Voice::quiet) return;
  const std::lock_guard speaking(speaking_);
  const auto now = Clock::now();
  if (voice_ == Voice::lines && now - told_ < plain_line_every) return;
  told_ = now;
  const double wall_s = std::chrono::duration<double>(now - begin_).count();
  const std::string line =
      fmt::format("{:8.3f} s of {:g} s  {:6.1f} x real time  {:8.1f} rpm  {:7.2f} A{}{}", model_s,
                  lasts_s_, model_s / wall_s, speed_rad_s * 30.0 / std::numbers::pi, current_peak_A,
                  more.empty() ? "" : "  ", more);
  line_stands_ = voice_ == Voice::live;
  if (line_stands_)
    fmt::print(stderr, "\r{}\033[K", line);
  else
    fmt::print(stderr, "{}\n", line);
  std::fflush(stderr);
}

void RunWatch::clear_line() {
  if (!line_stands_) return;
  fmt::print(stderr, "\r\033[K");
  line_stands_ = false;
}

}  // namespace stillrotor
