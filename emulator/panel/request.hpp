// What a page says, read and checked (docs/panel-messages.md). Whatever comes: a request, or a
// sentence that says what is allowed. Throws nothing but std::bad_alloc.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "emulator/panel/trigger.hpp"
#include "emulator/panel/view.hpp"

namespace stillrotor {

namespace panel_limit {
inline constexpr std::size_t message_bytes = 4096, views = 8, signals = 16, lines = 25,
                             columns = 4096, samples = 65'536, text = 256, words = 16;
inline constexpr double span_least_s = 1e-5, span_most_s = 1e6;
}  // namespace panel_limit

inline constexpr int panel_protocol = 1;

struct Hello {
  int protocol = 0;
  std::string token, client;
};
struct DriveRequest {
  bool take = false;
};
/// Keys and values of a timeline's line.
struct ActRequest {
  std::vector<std::pair<std::string, std::string>> words;
};
enum class RunRequest : std::uint8_t { start, pause, resume, step, stop };
struct OpenRequest {
  std::string name;
};

struct Request {
  std::variant<Hello, ViewSpec, TriggerSpec, DriveRequest, ActRequest, RunRequest, OpenRequest>
      what;
  std::optional<std::uint32_t> ask;
};
struct Misunderstood {
  std::string why;
  std::optional<std::uint32_t> ask;
};

/// lines: those that there are, by io::LineId.
std::variant<Request, Misunderstood> read_request(std::string_view text,
                                                  const std::vector<std::uint16_t>& lines);

}  // namespace stillrotor
