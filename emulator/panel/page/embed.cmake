# cmake -DASSETS=out.cpp -P embed.cmake -- FILE|NAME=FILE...
# Writes the table behind emulator/panel/panel_assets.hpp: each file under its name, as raw text.
set(types_html "text/html; charset=utf-8")
set(types_css "text/css; charset=utf-8")
set(types_js "text/javascript; charset=utf-8")
set(types_svg "image/svg+xml")

set(rows "")
set(count 0)
set(listing FALSE)
math(EXPR last "${CMAKE_ARGC} - 1")
foreach(k RANGE ${last})
  set(argument "${CMAKE_ARGV${k}}")
  if(NOT listing)
    if(argument STREQUAL "--")
      set(listing TRUE)
    endif()
    continue()
  endif()
  if(argument MATCHES "^([^/=]+)=(.+)$")
    set(name ${CMAKE_MATCH_1})
    set(file ${CMAKE_MATCH_2})
  else()
    set(file ${argument})
    get_filename_component(name ${file} NAME)
  endif()
  string(REGEX REPLACE "^.*\\." "" suffix ${name})
  if(NOT DEFINED types_${suffix})
    message(FATAL_ERROR "${file}: no media type known for .${suffix}; name it in embed.cmake")
  endif()
  file(READ ${file} text)
  string(FIND "${text}" ")asset_text" at)
  if(NOT at EQUAL -1)
    message(FATAL_ERROR "${file}: contains what ends a raw string here, )asset_text")
  endif()
  string(APPEND rows "    PanelAsset{\"/${name}\", \"${types_${suffix}}\",\nR\"asset_text(${text})asset_text\"sv},\n")
  math(EXPR count "${count} + 1")
endforeach()

file(WRITE ${ASSETS} "// Made by embed.cmake from the page's files.
#include <array>

#include \"emulator/panel/panel_assets.hpp\"

namespace stillrotor {

std::span<const PanelAsset> panel_assets() noexcept {
  using namespace std::string_view_literals;
  static constexpr std::array<PanelAsset, ${count}> table{{
${rows}  }};
  return table;
}

}  // namespace stillrotor
")
