// Is what answers fit for this bench? Each refusal names the setting or the chip, and the remedy.
#pragma once

#include <string>

#include "io/connector.hpp"
#include "io/link/config.hpp"
#include "io/link/status.hpp"

namespace stillrotor::io {

/// Throws ConfigError where the chip's hello, or a refusal, says that it cannot be. A chip that has
/// said nothing yet passes.
void require_fit(const LinkConfig&, const LinkStatus&);

/// Why there is no link after all the patience. last_error: of the connection.
ConfigError no_answer(const LinkConfig&, const LinkStatus&, const std::string& last_error);

/// Lines that these parameters move: CP_HALL_U | ...
std::uint32_t lines_needed(const cp_parameters&) noexcept;

}  // namespace stillrotor::io
