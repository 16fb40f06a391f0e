# SPDX-License-Identifier: Apache-2.0
# Third-party libraries, all from Debian 12. Reasons for each choice are in DEVELOPERS.md.

find_package(Threads REQUIRED)
find_package(PkgConfig REQUIRED)
find_package(Protobuf REQUIRED)
find_package(spdlog REQUIRED)
find_package(OpenSSL REQUIRED COMPONENTS Crypto)
pkg_check_modules(serialport REQUIRED IMPORTED_TARGET libserialport)
pkg_check_modules(modbus REQUIRED IMPORTED_TARGET libmodbus)
pkg_check_modules(gpiod REQUIRED IMPORTED_TARGET libgpiod)
find_path(KISSFFT_INCLUDE_DIR kissfft/kissfft.hh REQUIRED)
find_library(ISAL_LIBRARY isal REQUIRED)

# A name in the room table -> the target that stands for it.
add_library(external_boost INTERFACE)  # headers only: Asio, CRC
target_link_libraries(external_boost INTERFACE Threads::Threads)
target_compile_definitions(external_boost INTERFACE BOOST_ASIO_NO_DEPRECATED BOOST_ASIO_DISABLE_BOOST_COROUTINE)
if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
  # GCC 12 takes Asio's recycled coroutine frames for memory that is freed by the wrong function.
  target_compile_options(external_boost INTERFACE -Wno-mismatched-new-delete)
else()
  # clang 14 keeps C++20 coroutines behind these two for libstdc++.
  target_compile_definitions(external_boost INTERFACE BOOST_ASIO_HAS_CO_AWAIT BOOST_ASIO_HAS_STD_COROUTINE)
endif()
add_library(external_serialport ALIAS PkgConfig::serialport)
add_library(external_modbus ALIAS PkgConfig::modbus)
add_library(external_gpiod ALIAS PkgConfig::gpiod)
add_library(external_protobuf ALIAS protobuf::libprotobuf)
add_library(external_spdlog ALIAS spdlog::spdlog)
add_library(external_crypto ALIAS OpenSSL::Crypto)
add_library(external_kissfft INTERFACE)  # headers only; libkissfft-dev, BSD-3-Clause
add_library(external_isal INTERFACE)
target_link_libraries(external_isal INTERFACE ${ISAL_LIBRARY})
add_library(external_tomlplusplus INTERFACE)  # headers only
add_library(external_cli11 INTERFACE)         # headers only
add_library(external_json INTERFACE)          # headers only
