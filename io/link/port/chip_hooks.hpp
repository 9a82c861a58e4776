// What the core's hooks (hooks.h) do on a simulated chip. A real port has these on registers.
#pragma once

#include <cstdint>

#include "io/link/port/simulated_chip.hpp"

namespace stillrotor::io {

struct ChipHooks {
  /// While it lives, this thread's hooks reach that chip.
  class Scope {
   public:
    explicit Scope(SimulatedChip& chip) noexcept : before_(current) { current = &chip; }
    ~Scope() { current = before_; }
    Scope(const Scope&) = delete;
    Scope& operator=(const Scope&) = delete;

   private:
    SimulatedChip* before_;
  };

  static constexpr std::uint32_t all_lines = CP_HALL_U | CP_HALL_V | CP_HALL_W | CP_ENCODER_A |
                                             CP_ENCODER_B | CP_ENCODER_Z | CP_FAULT | CP_KEY |
                                             CP_BRAKE | CP_REVERSE;

  static std::uint32_t ticks() noexcept;
  static bool next_edge(cp_gate_edge&) noexcept;
  static std::uint32_t lost_edges() noexcept;
  static void move_line(std::uint32_t at, std::uint32_t line, bool high);
  static void release_lines();
  static void drive_lines(std::uint32_t levels);
  static void code(std::uint32_t channel, std::uint32_t code) noexcept;
  static bool byte_in(std::uint8_t&);
  static bool byte_out(std::uint8_t);

 private:
  static thread_local SimulatedChip* current;
};

}  // namespace stillrotor::io
