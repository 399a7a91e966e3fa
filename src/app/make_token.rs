//! Tokens of programs that use the JSON interface: made and revoked by the owner.

use super::token::Token;
use super::{Actor, AppError};
use crate::db::api_tokens::{self, NewToken};
use crate::db::people::Role;
use uuid::Uuid;

/// Makes a token that acts for the owner who makes it, within what it says. Its text is not kept.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn make_token(actor: &Actor, new: &NewToken) -> Result<Token, AppError> {
    let owner = actor.person()?;
    let token = Token::new(actor.shop_id())?;
    actor
        .transact(Role::Owner, async |tx| {
            Ok(api_tokens::make(tx, owner, &token.hash(), new).await?)
        })
        .await?;
    Ok(token)
}

/// Revokes a token, for the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], also where there is none.
pub async fn revoke_token(actor: &Actor, id: Uuid) -> Result<(), AppError> {
    actor
        .transact(
            Role::Owner,
            async |tx| Ok(api_tokens::revoke(tx, id).await?),
        )
        .await
}
