-- Roles and database of a new cluster, run on the leader as its superuser. The owner is no superuser; the service owns nothing.
select 'create role $owner login createdb createrole bypassrls password ''$owner_password'''
    where not exists (select from pg_roles where rolname = '$owner') \gexec
select 'create role $service login noinherit password ''$service_password'''
    where not exists (select from pg_roles where rolname = '$service') \gexec
select 'create database $database owner $owner'
    where not exists (select from pg_database where datname = '$database') \gexec
