// The head of a binary frame, byte by byte (docs/panel-messages.md).
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <limits>

namespace stillrotor {

static_assert(std::endian::native == std::endian::little, "frames go out as they lie here");

enum class FrameKind : std::uint8_t { scope = 1, samples = 2, stream = 3 };

namespace frame_flag {
inline constexpr std::uint8_t follows = 1, frozen = 2, raw = 4;
}

struct FrameHeader {
  static constexpr std::uint8_t current_version = 1;
  std::uint8_t version = current_version;
  FrameKind kind = FrameKind::scope;
  std::uint8_t view = 0, flags = 0;
  std::uint32_t sequence = 0;
  double from_s = 0.0, step_s = 0.0;
  std::uint32_t columns = 0;
  std::uint16_t signals = 0, lines = 0;
  double trigger_s = std::numeric_limits<double>::quiet_NaN();
  double lines_from_s = 0.0, lines_step_s = 0.0;
  std::uint32_t line_columns = 0, reserved = 0;
};
static_assert(sizeof(FrameHeader) == 64 && offsetof(FrameHeader, from_s) == 8 &&
              offsetof(FrameHeader, columns) == 24 && offsetof(FrameHeader, trigger_s) == 32 &&
              offsetof(FrameHeader, line_columns) == 56);

}  // namespace stillrotor
