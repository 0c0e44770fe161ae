"""A coupon: grooves cut to be measured, and what their widths say of the bit that cut them."""
