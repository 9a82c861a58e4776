# The panel, a web page that the program serves: needs npm once, for uPlot.
#
# STILLROTOR_PANEL is ON where it can be built. npm works in ${CMAKE_BINARY_DIR}/panel, and only when the
# list of packages has changed: it is asked while configuring, because without what it brings the program
# is built without the panel.
include_guard(GLOBAL)
option(STILLROTOR_PANEL "Build the panel, the web page of a run (needs npm)" ON)
set(STILLROTOR_PANEL_PACKAGES ${CMAKE_BINARY_DIR}/panel/node_modules)

function(stillrotor_panel_packages why_not)
  find_program(STILLROTOR_NPM npm)
  if(NOT STILLROTOR_NPM)
    set(${why_not} "npm is missing (install npm, then configure again)" PARENT_SCOPE)
    return()
  endif()
  set(folder ${CMAKE_BINARY_DIR}/panel)
  set(files)
  foreach(name package.json package-lock.json .npmrc)
    list(APPEND files ${PROJECT_SOURCE_DIR}/emulator/panel/page/${name})
  endforeach()
  set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${files})
  # The browser's remote control is for the tests of the whole program only.
  set(which --omit=dev)
  if(STILLROTOR_TESTS AND STILLROTOR_TESTS_OF_WHOLE)
    set(which --include=dev)
  endif()
  set(wanted ${which})
  foreach(file IN LISTS files)
    file(SHA256 ${file} hash)
    string(APPEND wanted " ${hash}")
  endforeach()
  set(there "")
  if(EXISTS ${folder}/installed)
    file(READ ${folder}/installed there)
  endif()
  if(there STREQUAL wanted AND EXISTS ${STILLROTOR_PANEL_PACKAGES}/uplot/dist/uPlot.esm.js)
    return()
  endif()
  file(MAKE_DIRECTORY ${folder})
  file(COPY ${files} DESTINATION ${folder})
  execute_process(
    COMMAND ${STILLROTOR_NPM} ci ${which} --ignore-scripts --no-audit --no-fund --prefer-offline
            --fetch-retries=1 --fetch-timeout=60000 --loglevel=error
    WORKING_DIRECTORY ${folder} TIMEOUT 180
    RESULT_VARIABLE status OUTPUT_QUIET ERROR_VARIABLE said)
  if(NOT status EQUAL 0)
    string(REGEX REPLACE "[\r\n].*" "" first "${said}")
    set(${why_not} "npm ci failed (${status}: ${first}); is there a network?" PARENT_SCOPE)
    return()
  endif()
  file(WRITE ${folder}/installed "${wanted}")
endfunction()

if(STILLROTOR_PANEL)
  set(why_not "")
  stillrotor_panel_packages(why_not)
  if(why_not)
    # Not in the cache: the next configuring tries again.
    set(STILLROTOR_PANEL OFF)
    message(NOTICE "panel: not built, ${why_not}")
  else()
    message(STATUS "Panel: built, with packages in ${STILLROTOR_PANEL_PACKAGES}")
  endif()
endif()
