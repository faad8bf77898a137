//! Inputs changed at random, as a fuzzer does it, without knowing what they reach.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// Numbers at which arithmetic breaks.
const NUMBERS: [u32; 10] = [0, 1, 2, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF];

/// The same in words, and what else stands where numbers are expected.
const WORDS: [&str; 14] = [
    "0",
    "-0",
    "-1",
    "1e308",
    "1e-308",
    "1e999",
    "NaN",
    "inf",
    "99999999999999999999",
    "0.1",
    "null",
    "\"\"",
    "[]",
    "\u{202E}é",
];

/// One of the inputs, changed in one to eight places.
pub fn changed(seeds: &[Vec<u8>], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut input = seeds[random.random_range(0..seeds.len())].clone();
    for _ in 0..random.random_range(1..=8) {
        let other = &seeds[random.random_range(0..seeds.len())];
        change(&mut input, other, random);
    }
    input
}

fn change(input: &mut Vec<u8>, other: &[u8], random: &mut ChaCha8Rng) {
    let (from, to) = part(input.len(), random);
    match random.random_range(0..9) {
        0 => input.truncate(from.max(1)),
        1 => drop(input.drain(from..to)),
        2 => {
            let copy = input[from..to].to_vec();
            let at = random.random_range(0..=input.len());
            input.splice(at..at, copy);
        }
        3 => {
            let (a, b) = part(other.len(), random);
            input.splice(from..to, other[a..b].iter().copied());
        }
        4 => number(input, from, random),
        5 | 6 => word(input, random),
        _ => {
            if let Some(byte) = input.get_mut(from) {
                *byte = if random.random() { *byte ^ 1 << random.random_range(0..8) } else { random.random() };
            }
        }
    }
}

/// A part of something so long, mostly a short one.
fn part(length: usize, random: &mut ChaCha8Rng) -> (usize, usize) {
    let from = random.random_range(0..=length);
    let longest = if random.random_bool(0.8) { 16 } else { length };
    (from, (from + random.random_range(0..=longest)).min(length))
}

/// A number of one, two or four bytes, in either order.
fn number(input: &mut [u8], at: usize, random: &mut ChaCha8Rng) {
    let value = NUMBERS[random.random_range(0..NUMBERS.len())];
    let bytes = [1, 2, 4][random.random_range(0..3)];
    let value = if random.random() { value.to_le_bytes() } else { (value << (8 * (4 - bytes))).to_be_bytes() };
    for (to, from) in input.iter_mut().skip(at).zip(value.iter().take(bytes)) {
        *to = *from;
    }
}

/// A word in place of a number in a text.
fn word(input: &mut Vec<u8>, random: &mut ChaCha8Rng) {
    let is_number = |b: &u8| b.is_ascii_digit() || b".-".contains(b);
    let begins = |i: &usize| is_number(&input[*i]) && (*i == 0 || !is_number(&input[*i - 1]));
    let places: Vec<usize> = (0..input.len()).filter(begins).collect();
    if places.is_empty() {
        return;
    }
    let from = places[random.random_range(0..places.len())];
    let length = input[from..].iter().take_while(|b| is_number(b)).count();
    input.splice(from..from + length, WORDS[random.random_range(0..WORDS.len())].bytes());
}
