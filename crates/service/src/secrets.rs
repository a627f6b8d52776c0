//! Secrets and tokens: 256 bits from the system's randomness, as text that is easy to copy.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use crate::error::ServiceError;

/// A new secret: 43 characters of the URL-safe base64 alphabet (RFC 4648, section 5).
///
/// # Errors
/// [`ServiceError::Randomness`].
pub fn random_secret() -> Result<String, ServiceError> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| ServiceError::Randomness(error.to_string()))?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}
