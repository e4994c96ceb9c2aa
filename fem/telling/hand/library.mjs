// What the viewer takes from three.js; `refresh.sh` makes three.min.js of it.
export {
  BufferAttribute, BufferGeometry, Color, ConeGeometry, CylinderGeometry, DataTexture, DoubleSide, FrontSide, Group, LinearFilter,
  LinearSRGBColorSpace, LineBasicMaterial, LineSegments, Matrix4, Mesh, MeshBasicMaterial, NearestFilter, OrthographicCamera,
  RGBAFormat, Scene, ShaderMaterial, Vector2, Vector3, Vector4, WebGLRenderer,
} from "three";
