// Memory for machine code: written or executed, never both.
//
// Errors none: where the kernel gives no such memory, is_there() says so.
// RT     opening and closing are system calls.
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

  bool is_there() const noexcept { return data_ != nullptr; }
  std::uint8_t* data() const noexcept { return data_; }
  std::size_t bytes() const noexcept { return bytes_; }
  /// To be written, or to be executed again. false: the kernel refuses.
  bool open() noexcept;
  bool close() noexcept;

 private:
  std::uint8_t* data_ = nullptr;
  std::size_t bytes_;
};

}  // namespace stillrotor::io::cortexm::translate
