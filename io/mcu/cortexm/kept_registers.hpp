// Registers that no model stands behind: they keep what is written, and are told on.
//
// A register starts with its reset value; where ones clear, ones clear. The first touch of each is
// noted with cycle and PC. A loop that reads one over and over, and always the same, waits for what
// never comes: it is named with the bit that it tests, where the code shows it.
//
// RT     the first touch of a register and the first sight of a loop allocate; nothing else.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "io/mcu/cortexm/core.hpp"

namespace stillrotor::io::cortexm {

struct RegisterRow {
  Word offset;
  const char* name;
  Word reset = 0;
  Word ones_clear = 0;
};

struct Touch {
  Word address;
  std::string name;  // "I2C1.SR1", or "I2C1+0x14"
  bool written;
  Cycle at;
  Word pc;
};
struct PollLoop {
  Word address, pc;
  std::string name;
  Cycle at;                  // its thousandth read
  std::optional<Word> mask;  // the bits that the code tests
};

/// Accesses of one instruction to a block that could not answer.
struct InVain {
  const char* block;
  Obstacle obstacle;
  Word address, pc;  // the first
  bool written;
  std::uint64_t count;
};

class KeptRegisters;

/// What the firmware touched that is guessed at.
class Guesses {
 public:
  explicit Guesses(Core& core) : core_(core) {}
  const std::vector<Touch>& touches() const noexcept { return touches_; }
  const std::vector<PollLoop>& poll_loops() const noexcept { return loops_; }
  /// "waiting for I2C1.SR1 (0x40005414) bit 0 at 0x08000210 (start_bus+0x12)"
  std::string describe(const PollLoop&) const;
  std::string describe(const Touch&) const;

  /// Accesses that came to nothing, by instruction; the first few dozen of them.
  void in_vain(const char* block, Word address, bool written, Obstacle);
  const std::vector<InVain>& in_vain() const noexcept { return in_vain_; }
  std::string describe(const InVain&) const;

  void touched(Word address, std::string name, bool written, Cycle at);
  void read(Word address, Word value, Cycle at, const KeptRegisters&, Word offset);
  void written() noexcept { reads_ = 0; }
  /// What a block was asked for and does not do; once each.
  void remark(std::string_view block, std::string_view what);
  const std::vector<std::string>& remarks() const noexcept { return remarks_; }

 private:
  Core& core_;
  std::vector<InVain> in_vain_;
  std::vector<Touch> touches_;
  std::vector<PollLoop> loops_;
  std::vector<std::string> remarks_;
  Word last_address_ = 0, last_pc_ = 0, last_value_ = 0;
  unsigned reads_ = 0;
};

class KeptRegisters final : public Peripheral {
 public:
  /// rows and name outlive this.
  KeptRegisters(Guesses&, Word base, Word bytes, const char* name,
                std::span<const RegisterRow> rows);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;
  std::string name_of(Word offset) const;
  Word& value(Word offset) noexcept { return values_[offset / 4]; }

 private:
  void note(Word offset, bool written, Cycle at);
  Guesses& guesses_;
  Word base_;
  const char* name_;
  std::span<const RegisterRow> rows_;
  std::vector<Word> values_, ones_clear_;
  std::vector<bool> touched_;
};

/// The bits that code tests right behind a load: TST, AND, UBFX or a shift into the sign
/// or carry, within the next few instructions. nullopt: nothing of that form.
std::optional<Word> tested_bits(Core&, Word pc_of_load);

}  // namespace stillrotor::io::cortexm
