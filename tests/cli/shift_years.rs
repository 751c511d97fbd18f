//! The years in which a dimension shifted, as `periods` tells them.

use super::Desk;

/// Twenty pieces of an invented pattern, one a year from 1930 on; from 1940 on the bit is 8 % thicker.
fn thicker() -> String {
    let mut text = String::from("specimen,maker,pattern,made,bit thickness\n");
    for i in 0..20 {
        let off = [0.01, -0.02, 0.03, -0.01, -0.03, 0.02][i % 6];
        let size = if i >= 10 { 4.32 } else { 4.0 };
        text.push_str(&format!("T{i},Row Works,apple,{},{:.2}\n", 1930 + i, size + off));
    }
    text
}
