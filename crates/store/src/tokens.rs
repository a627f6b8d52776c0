//! Bearer tokens: kept as keyed hashes, with the scope of what they may do.

use std::sync::{PoisonError, RwLock};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sqlx::{Row as _, SqliteConnection};

use crate::error::StoreError;

/// What a token may do. Each includes those before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Scope {
    /// Read everything but secrets.
    Read,
    /// Change what fixtures should do.
    Edit,
    /// Enrol, delete, back up, make tokens.
    Admin,
}

impl Scope {
    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Edit => "edit",
            Self::Admin => "admin",
        }
    }

    /// The scope that a word names.
    #[must_use]
    pub fn read(word: &str) -> Option<Self> {
        [Self::Read, Self::Edit, Self::Admin].into_iter().find(|scope| scope.as_str() == word)
    }
}

/// A token, without what it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// Its number.
    pub id: i64,
    /// Its name, by which history knows what it does.
    pub name: String,
    /// What it may do.
    pub scope: Scope,
    /// When it was made.
    pub created: Timestamp,
}

/// All tokens, in memory: every request asks.
#[derive(Debug, Default)]
pub(crate) struct TokenBook(RwLock<Vec<(blake3::Hash, Token)>>);

impl TokenBook {
    pub(crate) fn list(&self) -> Vec<Token> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).iter().map(|(_, token)| token.clone()).collect()
    }

    /// The token with that hash. Hashes are compared in constant time (`blake3::Hash` does).
    pub(crate) fn find(&self, hash: &blake3::Hash) -> Option<Token> {
        let book = self.0.read().unwrap_or_else(PoisonError::into_inner);
        book.iter().find(|(known, _)| known == hash).map(|(_, token)| token.clone())
    }

    pub(crate) fn push(&self, hash: blake3::Hash, token: Token) {
        self.0.write().unwrap_or_else(PoisonError::into_inner).push((hash, token));
    }

    /// Takes over what the file has.
    pub(crate) fn adopt(&self, truth: &Self) {
        let tokens = std::mem::take(&mut *truth.0.write().unwrap_or_else(PoisonError::into_inner));
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = tokens;
    }

    fn remove(&self, id: i64) {
        self.0.write().unwrap_or_else(PoisonError::into_inner).retain(|(_, token)| token.id != id);
    }
}

pub(crate) async fn add(
    connection: &mut SqliteConnection,
    book: &TokenBook,
    name: String,
    scope: Scope,
    hash: blake3::Hash,
    now: Timestamp,
) -> Result<Token, StoreError> {
    if book.list().iter().any(|token| token.name == name) {
        return Err(StoreError::TokenExists(name));
    }
    let row = sqlx::query("INSERT INTO token (name, scope, hash, created) VALUES (?, ?, ?, ?) RETURNING id")
        .bind(&name)
        .bind(scope.as_str())
        .bind(hash.as_bytes().to_vec())
        .bind(now.as_millisecond())
        .fetch_one(connection)
        .await
        .map_err(StoreError::sql("keeping a token"))?;
    let id: i64 = row.try_get("id").map_err(StoreError::sql("keeping a token"))?;
    let token = Token { id, name, scope, created: now };
    book.push(hash, token.clone());
    Ok(token)
}

pub(crate) async fn remove(connection: &mut SqliteConnection, book: &TokenBook, id: i64) -> Result<(), StoreError> {
    let gone = sqlx::query("DELETE FROM token WHERE id = ?")
        .bind(id)
        .execute(connection)
        .await
        .map_err(StoreError::sql("taking a token away"))?;
    if gone.rows_affected() == 0 {
        return Err(StoreError::NotThere(format!("there is no token {id}; GET /v1/tokens lists those there are")));
    }
    book.remove(id);
    Ok(())
}
