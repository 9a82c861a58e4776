// Memory for machine code, seen twice: one view to write it, one to execute it, so that no page is
// ever both, and neither has to be changed over (which costs a walk through all pages each time).
//
// Errors none: where the kernel gives no such memory, is_there() says so.
#pragma once

#include <cstddef>
#include <cstdint>

namespace stillrotor::io::cortexm::translate {

class CodeMemory {
 public:
  explicit CodeMemory(std::size_t bytes) noexcept;
  ~CodeMemory();
  CodeMemory(const CodeMemory&) = delete;
  CodeMemory& operator=(const CodeMemory&) = delete;

  bool is_there() const noexcept { return written_ != nullptr && executed_ != nullptr; }
  /// The same bytes at both.
  std::uint8_t* written() const noexcept { return written_; }
  const std::uint8_t* executed() const noexcept { return executed_; }

 private:
  std::uint8_t *written_ = nullptr, *executed_ = nullptr;
  std::size_t bytes_;
};

}  // namespace stillrotor::io::cortexm::translate
