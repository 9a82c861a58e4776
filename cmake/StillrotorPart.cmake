# stillrotor_part(NAME folder... [LINK lib...])
#   One static library per part, made of every .cpp file that lies directly in the given folders
#   (relative to the caller). A new file needs no line here.
function(stillrotor_part name)
  cmake_parse_arguments(PART "" "" "LINK" ${ARGN})
  set(sources)
  foreach(folder IN LISTS PART_UNPARSED_ARGUMENTS)
    file(GLOB found CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/${folder}/*.cpp)
    list(APPEND sources ${found})
  endforeach()
  if(sources)
    add_library(${name} STATIC ${sources})
    target_link_libraries(${name} PUBLIC stillrotor_compiler ${PART_LINK})
    stillrotor_common_headers(${name})
  else()
    add_library(${name} INTERFACE)
    target_link_libraries(${name} INTERFACE stillrotor_compiler ${PART_LINK})
  endif()
endfunction()

# The standard library's headers, compiled once for each of plant, io and emulator: up to half the time
# of a small file. Not in a build that asks for nothing, so that it finds an include that is missing.
function(stillrotor_common_headers target)
  if(NOT STILLROTOR_COMMON_HEADERS)
    return()
  endif()
  file(RELATIVE_PATH below ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_SOURCE_DIR})
  string(REGEX MATCH "^[a-z]+" top ${below})
  set(common stillrotor_${top}_headers)
  if(NOT TARGET ${common})
    set(empty ${PROJECT_BINARY_DIR}/${common}.cpp)
    file(GENERATE OUTPUT ${empty} CONTENT "")
    add_library(${common} OBJECT ${empty})
    target_link_libraries(${common} PRIVATE stillrotor_compiler)
    target_precompile_headers(${common} PRIVATE
      <algorithm> <array> <chrono> <cmath> <cstdint> <filesystem> <functional> <map> <memory> <optional>
      <span> <stdexcept> <string> <string_view> <vector>)
  endif()
  target_precompile_headers(${target} REUSE_FROM ${common})
  # Without it ccache does not see the precompiled headers in what it hashes.
  target_compile_options(${target} PRIVATE -fpch-preprocess)
endfunction()

# Tests are built often and run once: little optimisation. The sanitizers' checks that are left out
# cost a third of the compile time, and in a test's own code a null pointer or a wrong type ends in a
# crash anyway.
set(quick_flags $<$<NOT:$<CONFIG:Debug>>:-Og>)
if(STILLROTOR_SANITIZE MATCHES "undefined")
  list(APPEND quick_flags -fno-sanitize=vptr,null,object-size,nonnull-attribute)
endif()
function(stillrotor_quick_to_build target)
  target_compile_options(${target} PRIVATE ${quick_flags})
endfunction()

# What nearly all tests include is compiled once.
function(stillrotor_test_headers target)
  if(NOT TARGET stillrotor_test_headers)
    file(GENERATE OUTPUT ${PROJECT_BINARY_DIR}/test_headers.cpp CONTENT "")
    add_library(stillrotor_test_headers OBJECT ${PROJECT_BINARY_DIR}/test_headers.cpp)
    target_link_libraries(stillrotor_test_headers PRIVATE stillrotor_compiler GTest::gtest GTest::gmock)
    stillrotor_quick_to_build(stillrotor_test_headers)
    target_precompile_headers(stillrotor_test_headers PRIVATE
      <gmock/gmock.h> <gtest/gtest.h> <algorithm> <array> <cmath> <cstdint> <filesystem> <fstream>
      <functional> <map> <memory> <numbers> <optional> <random> <span> <stdexcept> <string>
      <string_view> <thread> <vector>)
  endif()
  target_precompile_headers(${target} REUSE_FROM stillrotor_test_headers)
  # Without it ccache does not see the precompiled headers in what it hashes.
  target_compile_options(${target} PRIVATE -fpch-preprocess)
endfunction()

# stillrotor_test(NAME folder LABELS label... [LINK lib...])
#   One GoogleTest program from every .cpp file in the folder; one CTest entry per case.
function(stillrotor_test name folder)
  cmake_parse_arguments(TEST "" "" "LABELS;LINK" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/${folder}/*.cpp)
  if(NOT sources)
    return()
  endif()
  add_executable(${name} ${sources})
  target_link_libraries(${name} PRIVATE stillrotor_compiler ${TEST_LINK} GTest::gtest GTest::gmock GTest::gtest_main)
  target_compile_definitions(${name} PRIVATE
    STILLROTOR_SOURCE_DIR="${PROJECT_SOURCE_DIR}" STILLROTOR_BUILD_DIR="${PROJECT_BINARY_DIR}")
  stillrotor_quick_to_build(${name})
  stillrotor_test_headers(${name})
  gtest_discover_tests(${name} TEST_PREFIX "${name}." TEST_LIST ${name}_cases DISCOVERY_TIMEOUT 120)
  # PROPERTIES of gtest_discover_tests takes a list of labels apart; CTest reads this file after the
  # cases are known.
  set(labels ${CMAKE_CURRENT_BINARY_DIR}/${name}_labels.cmake)
  file(WRITE ${labels} "if(${name}_cases)
  set_tests_properties(\${${name}_cases} PROPERTIES LABELS \"${TEST_LABELS}\" TIMEOUT 300)
endif()
")
  set_property(DIRECTORY APPEND PROPERTY TEST_INCLUDE_FILES ${labels})
endfunction()

# stillrotor_hot(target...): parts that every simulated picosecond passes through. Their objects carry
# both code and the compiler's own form of it; programs that ask for whole-program optimisation
# (stillrotor_hot_program) are optimised across them, all others, the tests, link them as they are.
function(stillrotor_hot)
  foreach(target IN LISTS ARGN)
    target_compile_options(${target} PRIVATE $<$<CONFIG:Release>:-O3 -flto -ffat-lto-objects>)
    if(CMAKE_BUILD_TYPE STREQUAL "Release")  # the common headers were compiled with other options
      set_target_properties(${target} PROPERTIES DISABLE_PRECOMPILE_HEADERS ON)
    endif()
  endforeach()
endfunction()
function(stillrotor_hot_program target)
  target_link_options(${target} PRIVATE $<$<CONFIG:Release>:-O3 -flto=2 -fno-tree-slp-vectorize>)
endfunction()
