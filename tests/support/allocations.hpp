// Counts what the calling thread allocates; linking it replaces operator new.
#pragma once

#include <cstdint>

std::uint64_t allocations() noexcept;
