// Rows of text in aligned columns, for people.
#pragma once

#include <string>
#include <vector>

namespace stillrotor {

/// The first row is the heading. Columns two spaces apart, the last one as long as it is.
std::string table(const std::vector<std::vector<std::string>>& rows, std::size_t indent = 2);

}  // namespace stillrotor
