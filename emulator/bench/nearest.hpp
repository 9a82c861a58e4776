// The known word nearest to a misspelt one.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace stillrotor {

/// Insertions, deletions, replacements and swaps of neighbours that turn one word into the other
/// (optimal string alignment).
std::size_t edit_distance(std::string_view, std::string_view);

/// The nearest of `known`; empty when none is near (more than a third of the word is different).
std::string nearest(std::string_view word, std::span<const std::string> known);

/// How a list of what is known begins.
inline constexpr std::string_view list_of_known = " Known here: ";
/// " Did you mean throttle?", or " Known here: a, b, c." when none is near.
std::string suggestion(std::string_view word, std::span<const std::string> known);

}  // namespace stillrotor
