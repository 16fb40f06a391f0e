# SPDX-License-Identifier: Apache-2.0
# Warnings and numeric behaviour, once for every room.

add_library(crestgate_warnings INTERFACE)
target_compile_options(crestgate_warnings INTERFACE
  -Werror -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wold-style-cast -Wnon-virtual-dtor
  -Woverloaded-virtual -Wdouble-promotion -Wformat=2 -Wimplicit-fallthrough
  $<$<CXX_COMPILER_ID:GNU>:-Wduplicated-cond -Wlogical-op -Wuseless-cast>)

# Same build and same class of CPU give the same bits: no fused multiply-add behind the code's back.
add_compile_options(-ffp-contract=off)

set(CRESTGATE_SANITIZE "" CACHE STRING "Sanitizers, for example address,undefined")
if(CRESTGATE_SANITIZE)
  add_compile_options(-fsanitize=${CRESTGATE_SANITIZE} -fno-sanitize-recover=all -fno-omit-frame-pointer)
  add_link_options(-fsanitize=${CRESTGATE_SANITIZE})
  if(CMAKE_CXX_COMPILER_ID MATCHES "Clang")
    # clang 14 cannot assemble coroutines with this one ("difference across sections").
    add_compile_options($<$<COMPILE_LANGUAGE:CXX>:-fno-sanitize=function>)
  endif()
  if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
    # GCC 12 warns that TSan does not see fences, which Asio uses.
    add_compile_options($<$<COMPILE_LANGUAGE:CXX>:-Wno-tsan>)
  endif()
endif()
