#include "core/units.hpp"
auto wrong() { return steadyglow::Volts{1.0} + steadyglow::Amperes{1.0}; }
