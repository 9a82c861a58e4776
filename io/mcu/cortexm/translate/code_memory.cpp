#include "io/mcu/cortexm/translate/code_memory.hpp"

#include <sys/mman.h>

namespace stillrotor::io::cortexm::translate {

CodeMemory::CodeMemory(std::size_t bytes) noexcept : bytes_(bytes) {
  void* const at = mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
  if (at == MAP_FAILED) return;
  data_ = static_cast<std::uint8_t*>(at);
  if (close() && open()) return;
  munmap(at, bytes);
  data_ = nullptr;
}
CodeMemory::~CodeMemory() {
  if (data_ != nullptr) munmap(data_, bytes_);
}

bool CodeMemory::open() noexcept { return mprotect(data_, bytes_, PROT_READ | PROT_WRITE) == 0; }
bool CodeMemory::close() noexcept { return mprotect(data_, bytes_, PROT_READ | PROT_EXEC) == 0; }

}  // namespace stillrotor::io::cortexm::translate
