// Recordings for the tests: written to a file of their own, gone at the end.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "io/capture/config.hpp"
#include "io/connector.hpp"

namespace stillrotor::io::test {

class Recording {
 public:
  explicit Recording(std::string_view bytes);
  ~Recording();
  Recording(const Recording&) = delete;
  Recording& operator=(const Recording&) = delete;
  const std::filesystem::path& path() const { return path_; }
  void rewrite(std::string_view bytes) const;  // the same file, as its readers have it open
  void replace(std::string_view bytes) const;  // another file of that name

 private:
  std::filesystem::path path_;
};

/// Declarations of six gates (ids A to F) and three Halls (G, H, I) in scope board.
std::string header(std::string_view timescale);

/// Names every line of header() by its leaf name.
CaptureConfig config_for(const std::filesystem::path&);

/// What a set-up says when it refuses; empty: it did not.
std::string refusal(const CaptureConfig&);
/// The same, of the reader alone, with every value change read.
std::string reader_refusal(std::string_view bytes);

/// A World that writes down what a controller drives.
class Bench final : public World {
 public:
  std::vector<Edge> driven;
  void drive(const Edge& edge) noexcept override { driven.push_back(edge); }
  double volts(ChannelId, Time) noexcept override { return 0.0; }
  Level level(LineId, Time) noexcept override { return Level::low; }
  void text(Time, std::string_view) noexcept override {}
};

/// Runs to `until` as the scheduler does, with all edges at that very time.
void run_until(SimulatedController&, Time until);

constexpr Time us(std::int64_t n) { return Time(n * 1'000'000); }

}  // namespace stillrotor::io::test
