# One place for language level, warnings, floating-point rules and sanitizers.
set(CMAKE_CXX_STANDARD 20)
set(CMAKE_CXX_STANDARD_REQUIRED ON)
set(CMAKE_CXX_EXTENSIONS OFF)
set(CMAKE_C_STANDARD 11)
set(CMAKE_EXPORT_COMPILE_COMMANDS ON)
set(CMAKE_RUNTIME_OUTPUT_DIRECTORY ${CMAKE_BINARY_DIR}/bin)

if(NOT CMAKE_BUILD_TYPE)
  set(CMAKE_BUILD_TYPE Release CACHE STRING "" FORCE)
endif()
find_program(CCACHE ccache)
# The compiler's own list of headers tells ccache what a file depends on: without it a file that is not
# in the cache is preprocessed twice. The sloppiness is what ccache asks for with precompiled headers;
# no source here uses __TIME__.
if(CCACHE AND NOT CMAKE_CXX_COMPILER_LAUNCHER)
  set(CMAKE_CXX_COMPILER_LAUNCHER ${CMAKE_COMMAND} -E env CCACHE_DEPEND=1
      CCACHE_SLOPPINESS=pch_defines,time_macros ${CCACHE})
endif()

# stillrotor_warnings: for code of our own only.
add_library(stillrotor_compiler INTERFACE)
target_compile_options(stillrotor_compiler INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wno-sign-conversion -Wdouble-promotion -Werror
  # Bit-identical results need every product rounded: no fused multiply-add by the compiler's choice.
  -ffp-contract=off)
target_include_directories(stillrotor_compiler INTERFACE ${PROJECT_SOURCE_DIR})

if(STILLROTOR_SANITIZE)
  add_compile_options(-fsanitize=${STILLROTOR_SANITIZE} -fno-omit-frame-pointer -fno-sanitize-recover=all)
  add_link_options(-fsanitize=${STILLROTOR_SANITIZE})
  # Both warnings are sound without the sanitizers and wrong beside them in GCC 12: inlined operator
  # delete of tests that count allocations; the standard library's regular expressions.
  add_compile_options($<$<COMPILE_LANGUAGE:CXX>:-Wno-mismatched-new-delete>
                      $<$<COMPILE_LANGUAGE:CXX>:-Wno-maybe-uninitialized>)
  # The thread sanitizer does not know fences. Ours order words that are atomic by themselves.
  if(STILLROTOR_SANITIZE MATCHES "thread")
    add_compile_options($<$<COMPILE_LANGUAGE:CXX>:-Wno-tsan>)
  endif()
endif()
