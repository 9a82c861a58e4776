// What stands at the bench's end of a wire.
#pragma once

#include "emulator/bench/draft.hpp"
#include "io/connector.hpp"

namespace stillrotor {

/// The controller stands on real wires.
inline bool on_wires(const Draft& draft) { return draft.backend == 3 || draft.backend == 4; }

/// Is there something at the bench's end of this wire? assemble_harness.cpp.
bool has_source(const Draft&, io::LineId);
bool has_source(const Draft&, io::ChannelId);

}  // namespace stillrotor
