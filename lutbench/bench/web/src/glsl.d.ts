declare module "*.glsl" {
  const text: string;
  export default text;
}
