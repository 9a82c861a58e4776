#include "tests/support/allocations.hpp"

#include <cstdlib>
#include <new>

namespace {
thread_local std::uint64_t count = 0;
}

std::uint64_t allocations() noexcept { return count; }

void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  ++count;
  return std::malloc(size != 0 ? size : 1);
}
void* operator new(std::size_t size) {
  if (void* memory = operator new(size, std::nothrow)) return memory;
  throw std::bad_alloc();
}
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }
