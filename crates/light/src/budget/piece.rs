//! A build sheet as it came in, of any shape, so that every fault can be told at once and with its place.
//!
//! A derived reader stops at its first fault and knows no JSON Pointer; this one keeps what came and lets the rules
//! of [`super::reading`] look at all of it.

use std::fmt;

use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};

/// One JSON value, members in the order given and doubles kept.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Piece {
    Nothing,
    Flag(bool),
    Number(f64),
    Text(String),
    List(Vec<Piece>),
    Members(Vec<(String, Piece)>),
}

impl Piece {
    /// What it is, for a sentence.
    pub(super) fn described(&self) -> String {
        match self {
            Self::Nothing => "null".to_owned(),
            Self::Flag(flag) => flag.to_string(),
            Self::Number(number) => number.to_string(),
            Self::Text(text) => format!("\"{}\"", crate::error::excerpt(text)),
            Self::List(_) => "a list".to_owned(),
            Self::Members(_) => "an object".to_owned(),
        }
    }
}

impl<'de> Deserialize<'de> for Piece {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(PieceVisitor)
    }
}

struct PieceVisitor;

impl<'de> Visitor<'de> for PieceVisitor {
    type Value = Piece;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a build sheet")
    }
    fn visit_unit<E>(self) -> Result<Piece, E> {
        Ok(Piece::Nothing)
    }
    fn visit_none<E>(self) -> Result<Piece, E> {
        Ok(Piece::Nothing)
    }
    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Piece, D::Error> {
        Piece::deserialize(deserializer)
    }
    fn visit_bool<E>(self, flag: bool) -> Result<Piece, E> {
        Ok(Piece::Flag(flag))
    }
    fn visit_i64<E>(self, number: i64) -> Result<Piece, E> {
        Ok(Piece::Number(number as f64))
    }
    fn visit_u64<E>(self, number: u64) -> Result<Piece, E> {
        Ok(Piece::Number(number as f64))
    }
    fn visit_f64<E>(self, number: f64) -> Result<Piece, E> {
        Ok(Piece::Number(number))
    }
    fn visit_str<E>(self, text: &str) -> Result<Piece, E> {
        Ok(Piece::Text(text.to_owned()))
    }
    fn visit_string<E>(self, text: String) -> Result<Piece, E> {
        Ok(Piece::Text(text))
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Piece, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = items.next_element()? {
            list.push(item);
        }
        Ok(Piece::List(list))
    }
    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Piece, A::Error> {
        let mut members = Vec::new();
        while let Some(member) = entries.next_entry()? {
            members.push(member);
        }
        Ok(Piece::Members(members))
    }
}
