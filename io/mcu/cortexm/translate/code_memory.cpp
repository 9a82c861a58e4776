#include "io/mcu/cortexm/translate/code_memory.hpp"

#include <sys/mman.h>
#include <unistd.h>

#include <initializer_list>

namespace stillrotor::io::cortexm::translate {

CodeMemory::CodeMemory(std::size_t bytes) noexcept : bytes_(bytes) {
  const int file = memfd_create("stillrotor translated code", MFD_CLOEXEC);
  if (file < 0) return;
  const auto view = [&](int protection) {
    void* const at = mmap(nullptr, bytes, protection, MAP_SHARED, file, 0);
    return at == MAP_FAILED ? nullptr : static_cast<std::uint8_t*>(at);
  };
  if (ftruncate(file, static_cast<off_t>(bytes)) == 0) {
    written_ = view(PROT_READ | PROT_WRITE);
    executed_ = view(PROT_READ | PROT_EXEC);
  }
  close(file);
}

CodeMemory::~CodeMemory() {
  for (std::uint8_t* const at : {written_, executed_})
    if (at != nullptr) munmap(at, bytes_);
}

}  // namespace stillrotor::io::cortexm::translate
